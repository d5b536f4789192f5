package report

import (
	"bufio"
	"fmt"
	"html"
	"io"
	"math"
	"strconv"
	"strings"
)

// drawing is a picture as shapes on paper, in millimetres from the upper left
// corner. It is written as SVG for the sheet and as pixels for a file, so that
// both show the same.
type drawing struct {
	w, h   float64
	shapes []shape
	words  string // what it shows, for whoever cannot see it
}

type point struct{ x, y float64 }

// shape is a set of lines, a filled outline, a disc or a text.
type shape struct {
	paths  [][]point // lines or outlines; the first point is the centre of a disc or the foot of a text
	closed bool      // an outline, filled
	ring   []float64 // radii of a disc: outer, and inner where it has a hole
	text   string
	ink    string    // colour as #rrggbb
	width  float64   // of lines
	dash   []float64 // lengths of dash and gap in turn; nil: unbroken
	size   float64   // height of text
	bold   bool
	anchor anchor
}

// anchor is the end of a text that its point is at.
type anchor int

const (
	anchorStart anchor = iota
	anchorMiddle
	anchorEnd
)

// Inks. Every difference they make is made by shape, dash or words as well, so
// that the page keeps its meaning in grey.
const (
	inkText    = "#1a1a1a"
	inkQuiet   = "#5c5c5c"
	inkGrid    = "#dcdcdc"
	inkHatch   = "#a8a8a8"
	inkAfter   = "#0b4f8a"
	inkBefore  = "#b35900"
	inkBand    = "#cfdde9"
	inkBandOld = "#f0dcc4"
	inkLimit   = "#444444"
	inkPaper   = "#ffffff"
)

func (d *drawing) add(s shape) { d.shapes = append(d.shapes, s) }

func (d *drawing) line(ink string, width float64, dash []float64, pts ...point) {
	d.add(shape{paths: [][]point{pts}, ink: ink, width: width, dash: dash})
}

func (d *drawing) area(ink string, pts ...point) {
	d.add(shape{paths: [][]point{pts}, closed: true, ink: ink})
}

func (d *drawing) write(x, y, size float64, ink string, a anchor, text string) {
	d.add(shape{paths: [][]point{{{x, y}}}, text: text, ink: ink, size: size, anchor: a})
}

// hatch fills a box with lines falling to the left.
func (d *drawing) hatch(ink string, width, step, x0, y0, x1, y1 float64) {
	s := shape{ink: ink, width: width}
	h := y1 - y0
	for x := x0 + step; x < x1+h; x += step {
		a, b := point{x, y0}, point{x - h, y1}
		if a.x > x1 {
			a = point{x1, y0 + x - x1}
		}
		if b.x < x0 {
			b = point{x0, y1 - (x0 - b.x)}
		}
		s.paths = append(s.paths, []point{a, b})
	}
	d.add(s)
}

// mm prints a length on paper to a hundredth of a millimetre.
func mm(v float64) string {
	s := strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
	if s == "-0" {
		return "0"
	}
	return s
}

// svg writes the drawing as an SVG element of its size in millimetres.
func (d *drawing) svg(w io.Writer, class string) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" class="%s" role="img" style="width:%smm" viewBox="0 0 %s %s" aria-label="%s">`,
		html.EscapeString(class), mm(d.w), mm(d.w), mm(d.h), html.EscapeString(d.words))
	b.WriteByte('\n')
	for _, s := range d.shapes {
		s.svg(b)
		b.WriteByte('\n')
	}
	b.WriteString("</svg>")
	return b.Flush()
}

func (s shape) svg(b *bufio.Writer) {
	switch {
	case s.text != "":
		p := s.paths[0][0]
		fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s" fill="%s"`, mm(p.x), mm(p.y), mm(s.size), s.ink)
		if s.anchor != anchorStart {
			fmt.Fprintf(b, ` text-anchor="%s"`, [...]string{"start", "middle", "end"}[s.anchor])
		}
		if s.bold {
			b.WriteString(` font-weight="bold"`)
		}
		fmt.Fprintf(b, `>%s</text>`, html.EscapeString(s.text))
	case len(s.ring) > 0:
		p := s.paths[0][0]
		var path strings.Builder
		for _, r := range s.ring {
			fmt.Fprintf(&path, "M%s %sa%s %s 0 1 0 %s 0a%s %s 0 1 0 -%s 0z", fine(p.x-r), fine(p.y), fine(r), fine(r), fine(2*r), fine(r), fine(r), fine(2*r))
		}
		if s.closed {
			fmt.Fprintf(b, `<path d="%s" fill="%s" fill-rule="evenodd"/>`, path.String(), s.ink)
			break
		}
		fmt.Fprintf(b, `<path d="%s" fill="none" stroke="%s" stroke-width="%s"%s/>`, path.String(), s.ink, mm(s.width), dashes(s.dash))
	default:
		b.WriteString(`<path d="`)
		for _, path := range s.paths {
			for i, p := range path {
				b.WriteByte("ML"[min(i, 1)])
				b.WriteString(mm(p.x))
				b.WriteByte(' ')
				b.WriteString(mm(p.y))
			}
			if s.closed {
				b.WriteByte('z')
			}
		}
		if s.closed {
			fmt.Fprintf(b, `" fill="%s"/>`, s.ink)
			break
		}
		fmt.Fprintf(b, `" fill="none" stroke="%s" stroke-width="%s" stroke-linejoin="round"%s/>`, s.ink, mm(s.width), dashes(s.dash))
	}
}

// fine prints a length to a thousandth of a millimetre: a small hole at its
// true size needs it.
func fine(v float64) string {
	s := strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
	if s == "-0" {
		return "0"
	}
	return s
}

func dashes(d []float64) string {
	if len(d) == 0 {
		return ""
	}
	parts := make([]string, len(d))
	for i, v := range d {
		parts[i] = mm(v)
	}
	return ` stroke-dasharray="` + strings.Join(parts, " ") + `"`
}

// niceStep is a step of 1, 2 or 5 times a power of ten that cuts span into at
// most n parts.
func niceStep(span float64, n int) float64 {
	if !(span > 0) || math.IsInf(span, 0) || n < 1 {
		return 1
	}
	raw := span / float64(n)
	mag := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, f := range []float64{1, 2, 5, 10} {
		if f*mag >= raw*(1-1e-9) {
			return f * mag
		}
	}
	return 10 * mag
}
