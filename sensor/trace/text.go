package trace

import (
	"bytes"
	"encoding/binary"
	"unicode/utf16"
	"unicode/utf8"
)

// headSize is how much of a file tells whether it is text, in bytes.
const headSize = 4 << 10

// noText is the error of a file that is no text.
type noText struct{ msg, hint string }

func (e *noText) Error() string { return e.msg }

// packed are the beginnings of files that hold a table, but not as text.
var packed = []struct{ begins, what, hint string }{
	{"PK\x03\x04", "it is a packed file or a spreadsheet's own", "open it in the spreadsheet and save the table as CSV, or unpack it"},
	{"\xd0\xcf\x11\xe0", "it is a spreadsheet's or an office program's own", "open it there and save the table as CSV"},
	{"\x1f\x8b", "it is packed by gzip", "unpack it first, for example with gzip -d"},
	{"BZh", "it is packed by bzip2", "unpack it first, for example with bzip2 -d"},
	{"\x28\xb5\x2f\xfd", "it is packed by zstd", "unpack it first, for example with zstd -d"},
	{"\xfd7zXZ\x00", "it is packed by xz", "unpack it first, for example with xz -d"},
}

// checkText refuses what is no text, by its first bytes. A board that starts
// may send a few stray bytes, which a log of its port then holds; so a NUL alone
// does not count, but one with control characters in every fiftieth place does.
func checkText(head []byte) error {
	const msg = "the file is no text"
	if bytes.HasPrefix(head, []byte("\xff\xfe")) || bytes.HasPrefix(head, []byte("\xfe\xff")) {
		return nil // UTF-16, every other byte of which is NUL
	}
	head = head[:min(len(head), headSize)]
	steers := 0
	for _, c := range head {
		if c < ' ' && c != '\t' && c != '\n' && c != '\r' || c == 0x7f {
			steers++
		}
	}
	if steers == 0 || steers*50 < len(head) {
		return nil
	}
	for _, p := range packed {
		if bytes.HasPrefix(head, []byte(p.begins)) {
			return &noText{msg + ": " + p.what, p.hint}
		}
	}
	if bytes.IndexByte(head, 0) < 0 {
		return nil
	}
	return &noText{msg, "name a table as text (CSV), lines as a board prints them, or a capture or record of this program"}
}

// plainText takes off a byte order mark and turns UTF-16, as spreadsheets
// write it, into UTF-8.
func plainText(b []byte) []byte {
	var order binary.ByteOrder
	switch {
	case bytes.HasPrefix(b, []byte("\xef\xbb\xbf")):
		return b[3:]
	case bytes.HasPrefix(b, []byte("\xff\xfe")):
		order = binary.LittleEndian
	case bytes.HasPrefix(b, []byte("\xfe\xff")):
		order = binary.BigEndian
	default:
		return b
	}
	out := make([]byte, 0, len(b)/2)
	for i := 2; i+1 < len(b); i += 2 {
		r := rune(order.Uint16(b[i:]))
		if utf16.IsSurrogate(r) {
			low := rune(utf8.RuneError)
			if i+3 < len(b) {
				low = rune(order.Uint16(b[i+2:]))
			}
			if r = utf16.DecodeRune(r, low); r != utf8.RuneError {
				i += 2
			}
		}
		out = utf8.AppendRune(out, r)
	}
	return out
}
