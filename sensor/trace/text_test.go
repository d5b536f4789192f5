package trace

import (
	"errors"
	"strings"
	"testing"
	"unicode/utf16"
)

// What is no text is refused in words, and a text with a few stray bytes is read.
func TestWhatIsNoText(t *testing.T) {
	junk := ""
	for i := range 512 {
		junk += string([]byte{byte(i * 7), byte(i * 31), byte(i >> 3)})
	}
	for name, c := range map[string]struct{ text, says, hint string }{
		"an executable": {"\x7fELF\x02\x01\x01\x00\x00\x00\x00\x00" + junk, "the file is no text", "CSV"},
		"a picture":     {"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + junk, "the file is no text", "CSV"},
		"zeros":         {strings.Repeat("\x00", 10000), "the file is no text", "CSV"},
		"a spreadsheet": {"PK\x03\x04\x14\x00\x06\x00" + junk, "spreadsheet", "save the table as CSV"},
		"an old one":    {"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + junk, "spreadsheet", "save the table as CSV"},
		"gzip":          {"\x1f\x8b\x08\x00" + junk, "gzip", "unpack"},
		"zstd":          {"\x28\xb5\x2f\xfd\x00" + junk, "zstd", "unpack"},
	} {
		_, err := Read(strings.NewReader(c.text), "f", Options{})
		var te *Error
		if !errors.As(err, &te) || !strings.Contains(te.Msg, c.says) || !strings.Contains(te.Hint, c.hint) || strings.Contains(te.Msg, `\x`) {
			t.Errorf("%s: %v", name, err)
		}
	}
	rows := "time_s,pressure_psi\n" + strings.Repeat("0.1,20\n0.2,20.1\n", 40)
	wide := utf16.Encode([]rune("\ufeff" + rows))
	utf := make([]byte, 0, 2*len(wide))
	for _, u := range wide {
		utf = append(utf, byte(u), byte(u>>8))
	}
	for name, text := range map[string]string{"stray bytes": "\x00\x00\xfe\n" + rows, "UTF-16": string(utf), "Latin-1": strings.Replace(rows, "_psi", "_psi,temp_\xb0C", 1)} {
		if tr, err := Read(strings.NewReader(text), "f", Options{}); name != "Latin-1" && (err != nil || len(tr.Samples) == 0) {
			t.Errorf("%s: %v", name, err)
		} else if err != nil && strings.Contains(err.Error(), "no text") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A row that nobody's logger writes is one bad row, or refused where the column
// names should be.
func TestRowsTooLong(t *testing.T) {
	long := strings.Repeat("9", maxLine+1)
	tr, err := Read(strings.NewReader("time_s,pressure_psi\n0,20\n1,"+long+"\n2,19\n"), "f", Options{})
	if err != nil || tr.BadRows != 1 || len(tr.Samples) != 2 {
		t.Errorf("%d readings, %d bad rows: %v", len(tr.Samples), tr.BadRows, err)
	}
	if _, err := Read(strings.NewReader(long+"\n"), "f", Options{}); err == nil || !strings.Contains(err.Error(), "longer than 65536 bytes") || len(err.Error()) > 200 {
		t.Errorf("%.300v", err)
	}
}
