package report

import (
	"math"
	"strconv"
	"time"

	"ebbline/decay"
)

// The room of the chart on paper, mm.
const (
	chartW             = 182.0
	roomLeft, roomEnd  = 13.0, 181.0
	roomTop, roomFloor = 6.0, 53.0
	chartColumn        = 0.25 // the trace shows its lowest and highest reading in each column of this width
)

// chart is the room of a test on paper: the ceiling on top, the warning band
// hatched under it, the traces in it, isolation on isolation.
type chart struct {
	drawing
	u              decay.PressureUnit
	x0, x1, y0, y1 float64 // s since isolation, Pa gauge
	cropped        bool    // a trace is longer than the chart
}

// newChart draws one test, or two of one duct, the earlier first.
func newChart(tests []*Test, u decay.PressureUnit) *chart {
	c := &chart{u: u, drawing: drawing{w: chartW}}
	ceiling := float64(tests[0].set().Ceiling)
	c.y1 = ceiling
	c.x0, c.x1 = math.Inf(1), math.Inf(-1)
	for _, t := range tests {
		from, to, cropped := t.window()
		c.cropped = c.cropped || cropped
		c.x0, c.x1 = math.Min(c.x0, from), math.Max(c.x1, to)
		for _, s := range t.Record.Samples {
			if x := t.since(s.At); x >= from && x <= to {
				g := float64(t.gauge(s))
				if finite(g) {
					c.y0, c.y1 = math.Min(c.y0, g), math.Max(c.y1, g)
				}
			}
		}
	}
	if !(c.x1 > c.x0) {
		c.x0, c.x1 = 0, 1
	}
	if c.y1 > ceiling {
		c.y1 += 0.05 * (c.y1 - c.y0)
	}
	c.words = "Pressure over time: " + tests[0].chartWords()
	for _, t := range tests[1:] {
		c.words += "; " + t.chartWords()
	}

	c.bands(ceiling)
	for i, t := range tests {
		if c.wedge(t, len(tests) > 1 && i == 0) {
			t.hasWedge = true
		}
	}
	c.grid()
	last := tests[len(tests)-1]
	for i, t := range tests {
		c.trace(t, len(tests) > 1 && i == 0)
	}
	limit := c.limit(last) // on top, for an undecided trace lies just under it
	c.ceiling(ceiling)
	if last.Curve.Ok() {
		x := c.x(0)
		c.line(inkQuiet, 0.2, []float64{0.8, 0.8}, point{x, roomTop}, point{x, roomFloor})
		c.write(x+1, roomFloor-1.2, 2.8, inkQuiet, anchorStart, "0: the supply is shut")
	}
	c.legend(tests, limit)
	return c
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func (c *chart) x(s float64) float64 {
	return roomLeft + (s-c.x0)/(c.x1-c.x0)*(roomEnd-roomLeft)
}

func (c *chart) y(p float64) float64 {
	return roomFloor - (p-c.y0)/(c.y1-c.y0)*(roomFloor-roomTop)
}

// bands hatches the warning band.
func (c *chart) bands(ceiling float64) {
	c.hatch(inkHatch, 0.12, 1.6, roomLeft, c.y(ceiling), roomEnd, c.y(ceiling*decay.WarningBand))
}

func (c *chart) ceiling(ceiling float64) {
	y := c.y(ceiling)
	c.line(inkText, 0.7, nil, point{roomLeft, y}, point{roomEnd, y})
	text := "ceiling " + decay.Gauge(ceiling).Format(c.u)
	c.write(roomEnd, y-1.3, 3, inkText, anchorEnd, text+" – never above it; hatched: the warning band")
}

// grid draws the floor, the lines of pressure and the ticks of time.
func (c *chart) grid() {
	step := niceStep((c.y1-c.y0)/c.u.Pascal, 6)
	for v := math.Ceil(c.y0/c.u.Pascal/step) * step; v <= c.y1/c.u.Pascal*(1+1e-9); v += step {
		y := c.y(v * c.u.Pascal)
		c.line(inkGrid, 0.15, nil, point{roomLeft, y}, point{roomEnd, y})
		c.write(roomLeft-1.2, y+1, 3, inkText, anchorEnd, short(v, step))
	}
	c.write(0, 3, 3, inkText, anchorStart, c.u.Name+" gauge")
	c.line(inkText, 0.3, nil, point{roomLeft, roomTop}, point{roomLeft, roomFloor}, point{roomEnd, roomFloor})
	unit, per := "s", 1.0
	if c.x1-c.x0 > 600 {
		unit, per = "min", 60
	}
	step = niceStep((c.x1-c.x0)/per, 9)
	for v := math.Ceil(c.x0/per/step) * step; v <= c.x1/per*(1+1e-9); v += step {
		x := c.x(v * per)
		c.line(inkText, 0.2, nil, point{x, roomFloor}, point{x, roomFloor + 1})
		c.write(x, roomFloor+4.4, 3, inkText, anchorMiddle, short(v, step))
	}
	c.write(0, roomFloor+4.4, 3, inkQuiet, anchorStart, unit)
}

// short prints a tick's value with the decimals its step needs.
func short(v, step float64) string {
	s := strconv.FormatFloat(v, 'f', max(0, -int(math.Floor(math.Log10(step)+1e-9))), 64)
	if v == 0 || s == "-0" {
		return "0"
	}
	return s
}

// style is how one of the traces looks: the earlier of two is dashed.
func style(old bool) (ink, band string, width float64, dash []float64) {
	if old {
		return inkBefore, inkBandOld, 0.6, []float64{1.6, 0.9}
	}
	return inkAfter, inkBand, 0.7, nil
}

// wedge shades what a leak of the interval's ends would have made of the
// pressure.
func (c *chart) wedge(t *Test, old bool) bool {
	r := t.Result
	if !t.Curve.Ok() {
		return false
	}
	// The interval is of the leak without the fittings'; the curve is of both.
	shift := t.rigRate()
	at, top := t.Curve.Gauge(math.Max(0, r.Rate.Low+shift), 90)
	_, low := t.Curve.Gauge(r.Rate.High+shift, 90)
	if top == nil || low == nil {
		return false
	}
	pts := make([]point, 0, 2*len(at))
	for i := range at {
		pts = append(pts, c.in(t.since(at[i]), float64(top[i])))
	}
	for i := len(at) - 1; i >= 0; i-- {
		pts = append(pts, c.in(t.since(at[i]), float64(low[i])))
	}
	_, band, _, _ := style(old)
	c.area(band, pts...)
	return true
}

// in is the place of a value, kept inside the room: a drawn curve, never a
// reading, may leave it.
func (c *chart) in(x, p float64) point {
	return point{math.Min(math.Max(c.x(x), roomLeft), roomEnd), math.Min(math.Max(c.y(p), roomTop), roomFloor)}
}

var limitDash = []float64{3, 1, 0.6, 1}

// limit draws how the pressure would have fallen through a hole of the limit.
func (c *chart) limit(t *Test) bool {
	k := t.Curve.RateOf(float64(decay.CircleArea(t.Result.Limit))*t.Result.Cd) + t.rigRate()
	at, p := t.Curve.Gauge(k, 90)
	if at == nil {
		return false
	}
	pts := make([]point, len(at))
	for i := range at {
		pts[i] = c.in(t.since(at[i]), float64(p[i]))
	}
	c.line(inkLimit, 0.35, limitDash, pts...)
	return true
}

// trace draws the readings, each column's lowest and highest, and the fitted
// curve as a thin line over them.
func (c *chart) trace(t *Test, old bool) {
	ink, _, width, dash := style(old)
	var pts []point
	column, lo, hi := math.MinInt, 0.0, 0.0
	put := func() {
		if column == math.MinInt {
			return
		}
		x := roomLeft + (float64(column)+0.5)*chartColumn
		pts = append(pts, point{x, c.y(lo)})
		if c.y(lo)-c.y(hi) > 0.05 {
			pts = append(pts, point{x, c.y(hi)})
		}
	}
	from, to, _ := t.window()
	for _, s := range t.Record.Samples {
		x, g := t.since(s.At), float64(t.gauge(s))
		if x < from || x > to || !finite(g) {
			continue
		}
		k := int((c.x(x) - roomLeft) / chartColumn)
		if k != column {
			put()
			column, lo, hi = k, g, g
		}
		lo, hi = math.Min(lo, g), math.Max(hi, g)
	}
	put()
	if len(pts) > 1 {
		c.line(ink, width, dash, pts...)
	}
	if at, p := t.Curve.Gauge(t.Curve.Rate(), 90); at != nil {
		fit := make([]point, len(at))
		for i := range at {
			fit[i] = c.in(t.since(at[i]), float64(p[i]))
		}
		c.line(inkPaper, 0.16, nil, fit...)
	}
}

// legend says in words what each line is, under the room.
func (c *chart) legend(tests []*Test, limit bool) {
	y := roomFloor + 9.6
	sample := func(x float64, ink string, width float64, dash []float64, fit bool) {
		c.line(ink, width, dash, point{x, y - 1}, point{x + 9, y - 1})
		if fit {
			c.line(inkPaper, 0.16, nil, point{x, y - 1}, point{x + 9, y - 1})
		}
	}
	for i, t := range tests {
		old := len(tests) > 1 && i == 0
		ink, band, width, dash := style(old)
		x := roomLeft
		sample(x, ink, width, dash, t.Curve.Ok())
		words := "pressure as read"
		if t.Role != "" {
			words = t.Role + " – " + words
		}
		if t.Curve.Ok() {
			words += "; the fitted curve is the light line in it"
		}
		c.write(x+11, y, 3, inkText, anchorStart, words)
		if t.hasWedge {
			x = 119
			c.area(band, point{x, y - 2.6}, point{x + 9, y - 2.6}, point{x + 9, y + 0.4}, point{x, y + 0.4})
			c.write(x+11, y, 3, inkText, anchorStart, "holes of its interval, 95 %")
		}
		y += 4.4
	}
	if limit {
		sample(roomLeft, inkLimit, 0.35, limitDash, false)
		t := tests[len(tests)-1]
		c.write(roomLeft+11, y, 3, inkText, anchorStart, "how it would fall through a hole of the limit, "+Hundredths(float64(t.Result.Limit)))
		y += 4.4
	}
	c.h = y - 2.6
}

// Hundredths prints a length in metres as millimetres to a hundredth, as in
// "0.84 mm": as fine as a hole's size means something on paper.
func Hundredths(metres float64) string { return tenth(metres) + " mm" }

// window is the stretch of a test that the chart shows, s since isolation.
func (t *Test) window() (from, to float64, cropped bool) {
	n := len(t.Record.Samples)
	if n == 0 {
		return 0, 1, false
	}
	from, to = t.since(t.Record.Samples[0].At), t.since(t.Record.Samples[n-1].At)
	h := t.Result.Hold
	if held := (h.End - h.Start).Seconds(); held > 0 {
		f, e := -math.Max(12, 0.4*held), held+math.Max(5, 0.1*held)
		cropped = from < f || to > e
		from, to = math.Max(from, f), math.Min(to, e)
	}
	return from, to, cropped
}

// since is a time of the record counted from isolation, s.
func (t *Test) since(at time.Duration) float64 { return (at - t.Result.Hold.Start).Seconds() }

// gauge is a reading against ambient, without the zero error found before the
// fill.
func (t *Test) gauge(s decay.Sample) decay.Gauge {
	return s.P.Gauge(t.ambient()) - t.Result.Zero
}

func (t *Test) ambient() decay.Pressure {
	if t.Result.Ambient > 0 {
		return t.Result.Ambient
	}
	return t.Record.Setup.NominalAmbient()
}

// rigRate is what the fittings' own leak adds to the rate of this duct, 1/s.
func (t *Test) rigRate() float64 {
	if k := t.Curve.RateOf(t.Record.Setup.RigLeak.Value); finite(k) {
		return k
	}
	return 0
}

func (t *Test) chartWords() string {
	w := Word(t.Result.Outcome)
	if t.Role != "" {
		w = t.Role + ": " + w
	}
	return w
}
