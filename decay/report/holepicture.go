package report

import (
	"math"
	"strconv"

	"ebbline/decay"
)

// holePicture draws the equivalent holes of the tests to scale beside a ruler:
// once as large as they are, once enlarged with their intervals, beside the
// limit. Nil when there is no hole to draw.
func holePicture(tests []*Test) *drawing {
	const rowTop, gap, margin = 6.0, 14.0, 2.0
	widest := 0.0
	any := false
	for _, t := range tests {
		if t.hasHole() {
			any = true
			widest = math.Max(widest, math.Max(t.Result.Hole.Value, boundOf(t.Result.Hole)))
			widest = math.Max(widest, float64(t.Result.Limit))
		}
	}
	if !any || !finite(widest) || widest <= 0 {
		return nil
	}
	widest /= decay.Millimetre
	// The largest of these scales at which the widest still fits.
	scale := 0.5
	for _, s := range []float64{1, 2, 5, 10, 20, 50} {
		if widest*s <= 24 {
			scale = s
		}
	}
	if widest*scale > 80 {
		return nil // larger than a page is wide: no picture says more than the number
	}
	tall := math.Max(widest*scale, 10)
	d := &drawing{w: 182, h: rowTop + tall + 9, words: "The holes drawn to scale: "}

	mid := rowTop + tall/2
	x := margin
	// True size, with a ruler of whole millimetres.
	d.write(margin, 3, 3, inkText, anchorStart, "true size")
	for i, t := range tests {
		if i > 0 {
			d.words += "; "
		}
		d.words += holeWords(t)
		if !t.hasHole() {
			continue
		}
		ink, _, _, _ := style(len(tests) > 1 && i == 0)
		r := t.Result.Hole.Value / decay.Millimetre / 2
		cx := x + math.Max(r, 5)
		if r > 0 {
			d.add(shape{paths: [][]point{{{cx, mid}}}, ring: []float64{r}, closed: true, ink: ink})
		}
		x = cx + math.Max(r, 5)
	}
	end := math.Max(20, math.Ceil((x-margin)/5)*5)
	ruler(d, margin, rowTop+tall+2, end, 1)
	x = margin + end + gap

	// Enlarged.
	left := x
	d.write(left, 3, 3, inkText, anchorStart, strconv.FormatFloat(scale, 'f', -1, 64)+" times as large")
	for i, t := range tests {
		if !t.hasHole() {
			continue
		}
		ink, band, _, _ := style(len(tests) > 1 && i == 0)
		h := t.Result.Hole
		size := func(m float64) float64 { return m / decay.Millimetre / 2 * scale }
		out := math.Max(size(h.Value), size(boundOf(h)))
		out = math.Max(out, size(float64(t.Result.Limit)))
		cx := x + out
		// The interval is the shaded ring, the value the drawn circle in it.
		if hi := size(boundOf(h)); hi > 0 {
			ring := []float64{hi}
			if lo := size(h.Low); lo > 0 && lo < hi {
				ring = append(ring, lo)
			}
			d.add(shape{paths: [][]point{{{cx, mid}}}, ring: ring, closed: true, ink: band})
		}
		if r := size(h.Value); r > 0 {
			_, _, width, dash := style(len(tests) > 1 && i == 0)
			d.add(shape{paths: [][]point{{{cx, mid}}}, ring: []float64{r}, ink: ink, width: width, dash: dash})
		}
		if l := size(float64(t.Result.Limit)); l > 0 {
			d.add(shape{paths: [][]point{{{cx, mid}}}, ring: []float64{l}, ink: inkLimit, width: 0.3, dash: limitDash})
		}
		tx := cx + out + 2
		label := Hundredths(h.Value)
		if t.Role != "" {
			label = t.Role + ": " + label
		}
		d.add(shape{paths: [][]point{{{tx, mid - 2}}}, text: label, ink: inkText, size: 3.4, bold: true})
		d.write(tx, mid+2, 3, inkText, anchorStart, slipSpan(h))
		d.write(tx, mid+6, 3, inkQuiet, anchorStart, "limit "+Hundredths(float64(t.Result.Limit)))
		x = tx + 34
	}
	ruler(d, left, rowTop+tall+2, math.Max(20, 2*math.Ceil((math.Min(x, 180)-left)/20)*10), scale)
	return d
}

// ruler draws a ruler of length mm on paper, graduated in millimetres of the
// thing drawn at that scale.
func ruler(d *drawing, x, y, length, scale float64) {
	length = math.Min(length, d.w-x-8)
	n := math.Floor(length/scale + 1e-9)
	step, fifth := 1.0, 5
	if scale >= 5 {
		step, fifth = 0.1, 10
		n = math.Floor(length/scale/step + 1e-9)
	}
	ticks := shape{ink: inkText, width: 0.18}
	ticks.paths = append(ticks.paths, []point{{x, y}, {x + n*step*scale, y}})
	for i := 0; i <= int(n); i++ {
		at, long := x+float64(i)*step*scale, 1.4
		if i%fifth == 0 {
			long = 3
			d.write(at, y+6.4, 2.8, inkText, anchorMiddle, short(float64(i)*step, math.Max(step, 1)))
		} else if i%5 == 0 {
			long = 2.1
		}
		ticks.paths = append(ticks.paths, []point{{at, y}, {at, y + long}})
	}
	d.add(ticks)
	d.write(x+n*step*scale+3.4, y+6.4, 2.8, inkText, anchorStart, "mm")
}

// hasHole reports whether the test gives a hole.
func (t *Test) hasHole() bool { return t.Result.HasFit && t.Result.HasVolume }

// boundOf is the upper bound of an interval, or its value when there is none.
func boundOf(iv decay.Interval) float64 {
	if finite(iv.High) {
		return iv.High
	}
	return iv.Value
}

func holeWords(t *Test) string {
	w := "no hole size"
	if t.hasHole() {
		w = Hundredths(t.Result.Hole.Value) + ", 95 % sure: " + slipSpan(t.Result.Hole)
	}
	if t.Role != "" {
		w = t.Role + " " + w
	}
	return w
}
