package report

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"strconv"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// pixels is how many of them a millimetre of a drawing becomes: 254 dots an
// inch, enough for paper.
const pixels = 10

// canvas paints a drawing.
type canvas struct {
	img   *image.RGBA
	pen   *vector.Rasterizer
	fonts map[fontKey]font.Face
}

type fontKey struct {
	size float64
	bold bool
}

// png paints the drawing on white and writes it as PNG.
func (d *drawing) png(w io.Writer) error {
	r := image.Rect(0, 0, int(math.Ceil(d.w*pixels)), int(math.Ceil(d.h*pixels)))
	c := canvas{img: image.NewRGBA(r), pen: vector.NewRasterizer(r.Dx(), r.Dy()), fonts: map[fontKey]font.Face{}}
	for i := range c.img.Pix {
		c.img.Pix[i] = 0xff
	}
	for _, s := range d.shapes {
		if err := c.paint(s); err != nil {
			return err
		}
	}
	if err := png.Encode(w, c.img); err != nil {
		return fmt.Errorf("picture: %w", err)
	}
	return nil
}

func (c *canvas) paint(s shape) error {
	if s.text != "" {
		return c.write(s)
	}
	var outlines [][]point
	for i, r := range s.ring {
		ring := circle(s.paths[0][0], r, s.closed && i%2 == 1)
		if s.closed {
			outlines = append(outlines, ring)
			continue
		}
		for _, part := range dashed(ring, s.dash) {
			outlines = append(outlines, stroke(part, s.width)...)
		}
	}
	for _, p := range s.paths {
		switch {
		case len(s.ring) > 0:
		case s.closed:
			outlines = append(outlines, p)
		default:
			for _, part := range dashed(p, s.dash) {
				outlines = append(outlines, stroke(part, s.width)...)
			}
		}
	}
	c.fill(outlines, colour(s.ink))
	return nil
}

// fill paints the inside of outlines. Only the box around them is gone through.
func (c *canvas) fill(outlines [][]point, ink color.RGBA) {
	lo, hi := point{math.Inf(1), math.Inf(1)}, point{math.Inf(-1), math.Inf(-1)}
	for _, o := range outlines {
		for _, p := range o {
			lo = point{math.Min(lo.x, p.x), math.Min(lo.y, p.y)}
			hi = point{math.Max(hi.x, p.x), math.Max(hi.y, p.y)}
		}
	}
	if !(lo.x <= hi.x && lo.y <= hi.y) {
		return
	}
	box := image.Rect(int(math.Floor(lo.x*pixels)), int(math.Floor(lo.y*pixels)), int(math.Ceil(hi.x*pixels)), int(math.Ceil(hi.y*pixels))).Intersect(c.img.Rect)
	if box.Empty() {
		return
	}
	c.pen.Reset(box.Dx(), box.Dy())
	place := func(p point) (x, y float32) {
		return float32(p.x*pixels - float64(box.Min.X)), float32(p.y*pixels - float64(box.Min.Y))
	}
	for _, o := range outlines {
		if len(o) == 0 {
			continue
		}
		c.pen.MoveTo(place(o[0]))
		for _, q := range o[1:] {
			c.pen.LineTo(place(q))
		}
		c.pen.ClosePath()
	}
	c.pen.Draw(c.img, box, image.NewUniform(ink), image.Point{})
}

// stroke lays a box over each piece of a line and a disc over each corner, all
// turning the same way: the rasterizer would let pieces that turn against each
// other cancel.
func stroke(p []point, width float64) (out [][]point) {
	for i := 1; i < len(p); i++ {
		a, b := p[i-1], p[i]
		l := math.Hypot(b.x-a.x, b.y-a.y)
		if l == 0 {
			continue
		}
		nx, ny := -(b.y-a.y)/l*width/2, (b.x-a.x)/l*width/2
		out = append(out, []point{{a.x - nx, a.y - ny}, {b.x - nx, b.y - ny}, {b.x + nx, b.y + ny}, {a.x + nx, a.y + ny}})
		if i+1 < len(p) {
			out = append(out, circle(b, width/2, false))
		}
	}
	return out
}

// circle is a ring of corners, clockwise as seen, or backwards, so that it cuts
// a hole into another.
func circle(at point, r float64, backwards bool) []point {
	n := max(8, min(180, int(r*pixels*2)))
	out := make([]point, n+1)
	for i := range out {
		a := 2 * math.Pi * float64(i) / float64(n)
		if backwards {
			a = -a
		}
		out[i] = point{at.x + r*math.Cos(a), at.y + r*math.Sin(a)}
	}
	return out
}

// dashed cuts a line into its dashes.
func dashed(p []point, dash []float64) [][]point {
	if len(dash) < 2 || len(p) < 2 {
		return [][]point{p}
	}
	var out [][]point
	cur := []point{p[0]}
	k, left := 0, dash[0]
	for i := 1; i < len(p); i++ {
		a, b := p[i-1], p[i]
		for {
			l := math.Hypot(b.x-a.x, b.y-a.y)
			if l <= left || left <= 0 && l == 0 {
				left -= l
				cur = append(cur, b)
				break
			}
			f := left / l
			a = point{a.x + f*(b.x-a.x), a.y + f*(b.y-a.y)}
			if k%2 == 0 {
				out = append(out, append(cur, a))
			}
			k++
			cur, left = []point{a}, math.Max(dash[k%len(dash)], 1e-3)
		}
	}
	if k%2 == 0 && len(cur) > 1 {
		out = append(out, cur)
	}
	return out
}

func (c *canvas) face(k fontKey) (font.Face, error) {
	if f := c.fonts[k]; f != nil {
		return f, nil
	}
	ttf := goregular.TTF
	if k.bold {
		ttf = gobold.TTF
	}
	f, err := opentype.Parse(ttf)
	if err != nil {
		return nil, fmt.Errorf("picture: %w", err)
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: k.size * pixels, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		return nil, fmt.Errorf("picture: %w", err)
	}
	c.fonts[k] = face
	return face, nil
}

func (c *canvas) write(s shape) error {
	face, err := c.face(fontKey{s.size, s.bold})
	if err != nil {
		return err
	}
	d := font.Drawer{Dst: c.img, Src: image.NewUniform(colour(s.ink)), Face: face}
	x := s.paths[0][0].x * pixels
	switch w := float64(d.MeasureString(s.text)) / 64; s.anchor {
	case anchorMiddle:
		x -= w / 2
	case anchorEnd:
		x -= w
	}
	d.Dot = fixed.Point26_6{X: fixed.Int26_6(x * 64), Y: fixed.Int26_6(s.paths[0][0].y * pixels * 64)}
	d.DrawString(s.text)
	return nil
}

// colour reads #rrggbb, as the inks are written.
func colour(ink string) color.RGBA {
	v, _ := strconv.ParseUint(strings.TrimPrefix(ink, "#"), 16, 32)
	return color.RGBA{uint8(v >> 16), uint8(v >> 8), uint8(v), 0xff}
}
