package replay

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"
)

func TestRoundTrip(t *testing.T) {
	var b bytes.Buffer
	w, err := NewWriter(&b, map[string]string{"port": "/dev/ttyX", "unit": "psi"})
	if err != nil {
		t.Fatal(err)
	}
	in := []Chunk{{0, []byte("12,0.5\n13")}, {20 * time.Millisecond, []byte{0, 255, '"', '\n', '\r'}}, {2 * time.Second, []byte("é\xff\n")}}
	for _, c := range in {
		if err := w.Chunk(c.At, c.Data); err != nil {
			t.Fatal(err)
		}
	}
	w.Flush()
	got, err := ReadCapture(bytes.NewReader(b.Bytes()))
	if err != nil || got.Torn || !reflect.DeepEqual(got.Chunks, in) || got.Header["unit"] != "psi" {
		t.Fatalf("got %+v, %v", got, err)
	}
	// Cut anywhere, every whole line before the cut is read.
	head := strings.Index(b.String(), "\n\n") + 2
	for n := head; n < b.Len(); n++ {
		got, err := ReadCapture(bytes.NewReader(b.Bytes()[:n]))
		if err != nil || len(got.Chunks) != bytes.Count(b.Bytes()[head:n], []byte("\n")) {
			t.Fatalf("cut at %d: %d chunks, %v", n, len(got.Chunks), err)
		}
		if got.Torn != (b.Bytes()[n-1] != '\n') {
			t.Fatalf("cut at %d: torn %v", n, got.Torn)
		}
	}
}

// A killed program loses at most a second: what came before the last flush is out.
func TestFlushedEachSecond(t *testing.T) {
	var b bytes.Buffer
	w, _ := NewWriter(&b, nil)
	for i := range 500 {
		w.Chunk(time.Duration(i)*10*time.Millisecond, []byte("1\n"))
		got, err := ReadCapture(bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatal(err)
		}
		last := time.Duration(0)
		if n := len(got.Chunks); n > 0 {
			last = got.Chunks[n-1].At
		}
		if lost := time.Duration(i)*10*time.Millisecond - last; lost > time.Second {
			t.Fatalf("%v unwritten at %d", lost, i)
		}
	}
}

func TestRefused(t *testing.T) {
	for _, text := range []string{"", "time_s,pressure_psi\n1,2\n"} {
		if _, err := ReadCapture(strings.NewReader(text)); !errors.Is(err, ErrNotCapture) {
			t.Errorf("%q: %v", text, err)
		}
	}
	for _, text := range []string{"ebbline-capture 2\n\n", firstLine + "\nnonsense\n\n", firstLine + "\n\nx \"a\"\n0.1 \"b\"\n"} {
		if _, err := ReadCapture(strings.NewReader(text)); err == nil || errors.Is(err, ErrNotCapture) {
			t.Errorf("%q: %v", text, err)
		}
	}
	if _, err := NewWriter(&bytes.Buffer{}, map[string]string{"a": "b\nc"}); err == nil {
		t.Error("a line end in a header was written")
	}
}

func FuzzReadCapture(f *testing.F) {
	f.Add([]byte(firstLine + "\nunit: psi\n\n0.000000 \"12,3\\n\"\n"))
	f.Add([]byte(firstLine + "\n\n0.1 \"a"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := ReadCapture(bytes.NewReader(data))
		if err != nil {
			return
		}
		var b bytes.Buffer
		w, err := NewWriter(&b, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range c.Chunks {
			w.Chunk(x.At, x.Data)
		}
		w.Flush()
		again, err := ReadCapture(&b)
		if err != nil || len(again.Chunks) != len(c.Chunks) {
			t.Fatalf("%d chunks became %d: %v", len(c.Chunks), len(again.Chunks), err)
		}
	})
}

func TestNotesOfFaults(t *testing.T) {
	var b bytes.Buffer
	w, _ := NewWriter(&b, nil)
	w.Chunk(time.Second, []byte("1\n"))
	w.Note(Note{1500 * time.Millisecond, "unplugged", "begins", "/dev/ttyX went away:\n input/output error"})
	w.Note(Note{At: 2 * time.Second})
	w.Chunk(3*time.Second, []byte("2\n"))
	w.Flush()
	got, err := ReadCapture(strings.NewReader(b.String() + "# a remark of a person\n"))
	want := []Note{{1500 * time.Millisecond, "unplugged", "begins", "/dev/ttyX went away: input/output error"}, {2 * time.Second, "-", "-", ""}}
	if err != nil || len(got.Chunks) != 2 || !reflect.DeepEqual(got.Notes, want) {
		t.Errorf("%+v, %v", got, err)
	}
}
