// Package replay keeps what a board sent, byte by byte, and plays it back.
//
// A capture is a text file. Its first line is "ebbline-capture 1"; lines of
// "key: value" follow up to a blank line; after that each line is one chunk of
// bytes as it came: the seconds since the capture began with six decimals, a
// space, and the bytes quoted as a Go string. Lines that begin with "#" tell of
// faults that were seen then: the seconds, the code, whether it begins, ends or
// came once, and a text. A capture is written before anything is
// decoded, so a fault of a decoder loses nothing, and flushed at least once a
// second, so a killed program loses at most that.
package replay

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"sort"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"
)

// Magic is how the first line of a capture begins.
const Magic = "ebbline-capture"

const (
	firstLine  = Magic + " 1"
	flushEvery = 200 * time.Millisecond // what a busy machine hands on late is not kept waiting
	maxLine    = 1 << 20                // bytes: no honest chunk is longer

	// So that no file fills the memory: each chunk holds a reading at least, and
	// ten million of those are almost three hours at 1 kHz.
	maxChunks = 10000000
	maxNotes  = 100000
	maxHeader = 4 << 20 // bytes
)

// Chunk is a piece of the stream of bytes.
type Chunk struct {
	At   time.Duration // since the capture began
	Data []byte
}

// Note is a fault that was seen while the capture was made.
type Note struct {
	At    time.Duration
	Code  string // steady, one word
	State string // begins, ends or once
	Text  string
}

// Capture is a capture file read back.
type Capture struct {
	Header map[string]string
	Chunks []Chunk
	Notes  []Note
	Torn   bool // the last line was cut off and has been left out
}

// Writer writes a capture. Its methods may be called from several goroutines.
type Writer struct {
	mu      sync.Mutex
	w       *bufio.Writer
	flushed time.Duration
	buf     []byte
	err     error
}

// NewWriter writes the head of a capture and flushes it. Keys and values must
// hold no line ends; keys no colon.
func NewWriter(w io.Writer, header map[string]string) (*Writer, error) {
	b := bufio.NewWriterSize(w, 32<<10)
	keys := make([]string, 0, len(header))
	for k, v := range header {
		if k == "" || strings.ContainsAny(k, ":\r\n") || strings.ContainsAny(v, "\r\n") {
			return nil, fmt.Errorf("replay: header %q: %q cannot be written on one line", k, v)
		}
		keys = append(keys, k)
	}
	sort.Strings(keys)
	fmt.Fprintln(b, firstLine)
	for _, k := range keys {
		fmt.Fprintf(b, "%s: %s\n", k, header[k])
	}
	fmt.Fprintln(b)
	return &Writer{w: b}, b.Flush()
}

// Chunk writes bytes that came at the given time since the capture began, and
// flushes when the last flush is a fifth of a second past. The first error sticks.
func (w *Writer) Chunk(at time.Duration, data []byte) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.err != nil {
		return w.err
	}
	w.buf = strconv.AppendFloat(w.buf[:0], at.Seconds(), 'f', 6, 64)
	w.buf = append(w.buf, ' ')
	w.buf = strconv.AppendQuoteToASCII(w.buf, string(data))
	w.buf = append(w.buf, '\n')
	_, w.err = w.w.Write(w.buf)
	if w.err == nil && at-w.flushed >= flushEvery {
		w.flushed = at
		w.err = w.w.Flush()
	}
	return w.err
}

// Note writes down a fault, and flushes.
func (w *Writer) Note(n Note) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.err == nil {
		_, w.err = fmt.Fprintf(w.w, "# %.6f %s %s: %s\n", n.At.Seconds(), word(n.Code), word(n.State), strings.Join(strings.Fields(n.Text), " "))
	}
	if w.err == nil {
		w.flushed = max(w.flushed, n.At)
		w.err = w.w.Flush()
	}
	return w.err
}

// word is s as one word without a colon.
func word(s string) string {
	s = strings.Join(strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || r == ':' }), "-")
	if s == "" {
		return "-"
	}
	return s
}

// readNote reads what Note wrote; ok is false for any other comment.
func readNote(line string) (n Note, ok bool) {
	head, text, ok := strings.Cut(strings.TrimPrefix(line, "#"), ": ")
	f := strings.Fields(head)
	if !ok || len(f) != 3 {
		return n, false
	}
	s, err := strconv.ParseFloat(f[0], 64)
	if err != nil || !(s >= 0 && s < 1e9) {
		return n, false
	}
	return Note{At: time.Duration(s * float64(time.Second)), Code: f[1], State: f[2], Text: text}, true
}

// Flush writes out what is buffered.
func (w *Writer) Flush() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.err == nil {
		w.err = w.w.Flush()
	}
	return w.err
}

// ErrNotCapture is returned for a file that does not begin as a capture does.
var ErrNotCapture = errors.New("replay: not a capture file")

// ReadCapture reads a capture. A cut-off last line is left out and Torn set;
// a line that is wrong elsewhere is an error that names its number.
func ReadCapture(r io.Reader) (Capture, error) {
	c := Capture{Header: map[string]string{}}
	br := bufio.NewReaderSize(r, 64<<10)
	number, headed := 0, 0
	next := func() (line string, whole bool, err error) {
		number++
		var sb strings.Builder
		for {
			part, err := br.ReadSlice('\n')
			sb.Write(part)
			if sb.Len() > maxLine {
				return "", false, fmt.Errorf("replay: line %d is longer than %d bytes", number, maxLine)
			}
			switch {
			case err == nil:
				return strings.TrimRight(sb.String(), "\r\n"), true, nil
			case errors.Is(err, bufio.ErrBufferFull):
				continue
			default:
				return sb.String(), false, err
			}
		}
	}
	line, whole, err := next()
	if line != firstLine {
		if strings.HasPrefix(line, Magic) && whole {
			return c, fmt.Errorf("replay: line 1: version %q is not one this program reads (it reads 1)", strings.TrimSpace(strings.TrimPrefix(line, Magic)))
		}
		if err != nil && err != io.EOF {
			return c, err
		}
		return c, ErrNotCapture
	}
	for head := true; ; {
		line, whole, err := next()
		if err != nil && err != io.EOF {
			return c, err
		}
		if !whole {
			c.Torn = c.Torn || line != ""
			return c, nil
		}
		if head {
			if line == "" {
				head = false
				continue
			}
			k, v, ok := strings.Cut(line, ":")
			if !ok {
				return c, fmt.Errorf("replay: line %d: %.40q is not \"key: value\"", number, line)
			}
			if headed += len(line); headed > maxHeader {
				return c, fmt.Errorf("replay: line %d: the head is longer than %d bytes", number, maxHeader)
			}
			c.Header[strings.TrimSpace(k)] = strings.TrimSpace(v)
			continue
		}
		if strings.HasPrefix(line, "#") {
			if n, ok := readNote(line); ok {
				if len(c.Notes) == maxNotes {
					return c, fmt.Errorf("replay: line %d: there are more than %d notes of faults", number, maxNotes)
				}
				c.Notes = append(c.Notes, n)
			}
			continue
		}
		at, data, ok := strings.Cut(line, " ")
		s, errAt := strconv.ParseFloat(at, 64)
		text, errText := strconv.Unquote(data)
		if !ok || errAt != nil || errText != nil || !(s >= 0 && s < 1e9) {
			// A machine that lost power may leave a line of zeros at the end.
			if _, err := br.Peek(1); err == io.EOF {
				c.Torn = true
				return c, nil
			}
			return c, fmt.Errorf("replay: line %d is not a time and quoted bytes", number)
		}
		if len(c.Chunks) == maxChunks {
			return c, fmt.Errorf("replay: line %d: there are more than %d chunks: cut the capture", number, maxChunks)
		}
		c.Chunks = append(c.Chunks, Chunk{At: time.Duration(s * float64(time.Second)), Data: []byte(text)})
	}
}
