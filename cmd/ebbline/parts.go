package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"ebbline/decay"
	"ebbline/tui"
)

// partsFile is the name of the shop's list of parts in the user's folder for
// settings.
const partsFile = "parts.csv"

// maxParts bounds the list, in bytes: some fifty thousand parts.
const maxParts = 2 << 20

// A hose is smaller than a finger or larger than a truck's no more than its
// bore and length say so.
const (
	minBore, maxBore     = 3 * decay.Millimetre, 400 * decay.Millimetre
	minLength, maxLength = 10 * decay.Millimetre, 20000 * decay.Millimetre

	// A hose's bore and length are measured with a rule: 2 mm of 50 in the
	// bore make 8 % in the volume.
	sizeTolerance = 0.08
)

// readParts reads a list of parts, with commas, semicolons or tabs between its
// cells, and points or commas in its decimals: a heading that names the columns label,
// bore_mm, length_mm and perhaps limit_mm and volume_l, then a part a line.
// Lines that start with # are comments. Name is for errors.
func readParts(in io.Reader, name string) ([]tui.Part, error) {
	data, err := io.ReadAll(io.LimitReader(in, maxParts+1))
	switch {
	case err != nil:
		return nil, wrong("check the file", "%s: %w", name, err)
	case len(data) > maxParts:
		return nil, wrong("look what it is; a part takes one short line", "%s: longer than %d MiB, which no list of parts is", name, maxParts>>20)
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	r := csv.NewReader(bytes.NewReader(data))
	r.Comment, r.Comma = '#', separator(data)
	r.TrimLeadingSpace = r.Comma != '\t' // or empty cells would be none
	r.FieldsPerRecord = -1
	hint := "the first line is label,bore_mm,length_mm,limit_mm,volume_l (the last two may be left out), then one part a line; commas, semicolons or tabs stand between the cells"
	bad := func(line int, format string, a ...any) error {
		return wrong(hint, "%s, line %d: %w", name, line, fmt.Errorf(format, a...))
	}
	col := map[string]int{}
	var out []tui.Part
	seen := map[string]int{}
	for first := true; ; first = false {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			if first {
				return nil, wrong(hint, "%s: the list of parts is empty", name)
			}
			return out, nil
		}
		var pe *csv.ParseError
		if errors.As(err, &pe) {
			return nil, bad(pe.Line, "%w", pe.Err)
		}
		if err != nil {
			return nil, wrong("check the file", "%s: %w", name, err)
		}
		line, _ := r.FieldPos(0)
		if first {
			for i, n := range row {
				n = strings.ToLower(strings.TrimSpace(n))
				switch n {
				case "label", "bore_mm", "length_mm", "limit_mm", "volume_l":
				default:
					return nil, bad(line, "%q is no column of a list of parts", n)
				}
				if _, twice := col[n]; twice {
					return nil, bad(line, "the column %s is there twice", n)
				}
				col[n] = i
			}
			for _, need := range []string{"label", "bore_mm", "length_mm"} {
				if _, ok := col[need]; !ok {
					return nil, bad(line, "the column %s is missing", need)
				}
			}
			continue
		}
		if len(row) > len(col) {
			return nil, bad(line, "%d cells under a heading of %d", len(row), len(col))
		}
		cell := func(c string) string {
			if i, ok := col[c]; ok && i < len(row) {
				return strings.TrimSpace(row[i])
			}
			return ""
		}
		p := tui.Part{Label: cell("label")}
		if p.Label == "" {
			return nil, bad(line, "the part has no label")
		}
		if strings.ContainsFunc(p.Label, unicode.IsControl) || len(p.Label) > 80 {
			return nil, bad(line, "the label %.30q is no line of at most 80 letters", p.Label)
		}
		key := strings.ToLower(p.Label)
		if at, twice := seen[key]; twice {
			return nil, bad(line, "the part %q stands on line %d already", p.Label, at)
		}
		seen[key] = line
		number := func(c string, lo, hi float64, must bool) (float64, error) {
			text := cell(c)
			if text == "" && !must {
				return 0, nil
			}
			v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
			if err != nil || math.IsNaN(v) {
				return 0, bad(line, "%s of %q is %q, which is no number", c, p.Label, text)
			}
			if v < lo || v > hi {
				return 0, bad(line, "%s of %q is %g, outside %g to %g", c, p.Label, v, lo, hi)
			}
			return v, nil
		}
		var bore, length, limit, litres float64
		given := cell("volume_l") != ""
		for _, c := range []struct {
			name   string
			lo, hi float64
			must   bool
			to     *float64
		}{
			{"volume_l", 0.005, 2000, false, &litres},
			{"bore_mm", minBore * 1e3, maxBore * 1e3, !given, &bore},
			{"length_mm", minLength * 1e3, maxLength * 1e3, !given, &length},
			{"limit_mm", 0.01, 20, false, &limit},
		} {
			if *c.to, err = number(c.name, c.lo, c.hi, c.must); err != nil {
				return nil, err
			}
		}
		p.Bore, p.Length = decay.Length(bore*decay.Millimetre), decay.Length(length*decay.Millimetre)
		p.Limit = decay.Length(limit * decay.Millimetre)
		p.Volume = decay.Volume(litres * decay.Litre)
		out = append(out, finishPart(p, given))
	}
}

// finishPart works the volume out of bore and length, unless it was given.
func finishPart(p tui.Part, given bool) tui.Part {
	if !given {
		p.Volume = decay.Volume(float64(decay.CircleArea(p.Bore)) * float64(p.Length))
		p.VolumeTolerance = sizeTolerance
	}
	return p
}

// size is a bore and a length, each perhaps with its unit.
var size = regexp.MustCompile(`(?i)^\s*(\d+(?:[.,]\d+)?)\s*(mm|cm|m|in|inch|")?\s*(?:x|×|\*|\s)\s*(\d+(?:[.,]\d+)?)\s*(mm|cm|m|in|inch|")?\s*$`)

// parsePart reads a size such as "51x600" or "2in x 24in": bore and length, in
// millimetres unless a unit is written.
func parsePart(text string) (tui.Part, error) {
	hint := "write bore x length in millimetres, for example 51x600, or with their units, as 2in x 24in, or a label of the list of parts"
	m := size.FindStringSubmatch(text)
	if m == nil {
		return tui.Part{}, wrong(hint, "%.40q is no part of the list, and no bore and length", text)
	}
	bore, length := strings.ToLower(m[2]), strings.ToLower(m[4])
	switch {
	case bore == "" && length == "":
		bore, length = "mm", "mm"
	case bore == "": // 2x24 in
		bore = length
	case length == "" && bore == "mm":
		length = bore
	case length == "":
		return tui.Part{}, wrong(hint, "%.40q has a unit for the bore alone", text)
	}
	v := [2]float64{millimetresOf(m[1], bore), millimetresOf(m[3], length)}
	switch {
	case v[0] < minBore*1e3 || v[0] > maxBore*1e3:
		return tui.Part{}, wrong(hint, "a bore of %.6g mm is outside %g to %g mm", v[0], minBore*1e3, maxBore*1e3)
	case v[1] < minLength*1e3 || v[1] > maxLength*1e3:
		return tui.Part{}, wrong(hint, "a length of %.6g mm is outside %g to %g mm", v[1], minLength*1e3, maxLength*1e3)
	}
	p := tui.Part{Bore: decay.Length(v[0] * decay.Millimetre), Length: decay.Length(v[1] * decay.Millimetre)}
	p.Label = fmt.Sprintf("hose %.5gx%.5g mm", v[0], v[1])
	return finishPart(p, false), nil
}

// millimetresOf is a number of digits in that unit.
func millimetresOf(digits, unit string) float64 {
	f, _ := strconv.ParseFloat(strings.Replace(digits, ",", ".", 1), 64) // beyond every range: infinite
	return f * map[string]float64{"mm": 1, "cm": 10, "m": 1000, "in": 25.4, "inch": 25.4, `"`: 25.4}[unit]
}

// separator is what stands between the cells of a list: what its heading has
// between the names.
func separator(data []byte) rune {
	for line := range bytes.Lines(data) {
		if line = bytes.TrimSpace(line); len(line) == 0 || line[0] == '#' {
			continue
		}
		for _, r := range ";\t" {
			if bytes.ContainsRune(line, r) {
				return r
			}
		}
		break
	}
	return ','
}

// findPart is the part of the list with that label, whatever its case, or the
// one whose size was written.
func findPart(list []tui.Part, text string) (tui.Part, error) {
	for _, p := range list {
		if strings.EqualFold(p.Label, strings.TrimSpace(text)) {
			return p, nil
		}
	}
	return parsePart(text)
}

// loadParts reads the list of parts from name, or from the user's folder for
// settings when no name is given; there it may be absent.
func loadParts(name string) ([]tui.Part, error) {
	asked := name != ""
	if !asked {
		dir, err := os.UserConfigDir()
		if err != nil {
			return nil, nil // no such folder on this machine: no list
		}
		name = filepath.Join(dir, "ebbline", partsFile)
		if _, err := os.Stat(name); errors.Is(err, os.ErrNotExist) {
			return nil, nil
		}
	}
	f, err := openFile(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return readParts(f, name)
}

// trialParts are invented, for whoever tries the counter on the simulated rig
// without a list.
func trialParts() []tui.Part {
	hose := func(label string, bore, length float64) tui.Part {
		return finishPart(tui.Part{Label: label, Bore: decay.Length(bore * decay.Millimetre), Length: decay.Length(length * decay.Millimetre)}, false)
	}
	return []tui.Part{
		hose("trial hose, left, long (made up)", 51, 600),
		hose("trial hose, right, short (made up)", 51, 300),
		finishPart(tui.Part{Label: "trial cooler (made up)", Volume: 3.1 * decay.Litre, Limit: 0.3 * decay.Millimetre}, true),
	}
}
