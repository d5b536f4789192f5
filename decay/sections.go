package decay

// Section is a part of a duct that was tested by itself, between plugs.
type Section struct {
	Name string
	Area Interval // effective area of its leak, m²
}

// SplitRow is a section with its share of the whole leak.
type SplitRow struct {
	Section
	Share Interval // a fraction
}

// SplitStep is what to do next to find where a leak is.
type SplitStep int

// The steps. The zero value is SplitWhole.
const (
	SplitWhole   SplitStep = iota // test the whole first: there is no leak to divide yet
	SplitNoLeak                   // the whole may be tight: nothing to look for
	SplitMore                     // what was not tested may hold most of it: test another section
	SplitInto                     // one section holds most of it: divide that one, or hunt in it
	SplitLonger                   // one section is too uncertain: hold it longer
	SplitDoubt                    // the sections leak more than the whole: a plug leaked, or something moved
	SplitAllDone                  // no section stands out: mend them in the order of their size
)

// Split says how much of a whole leak lies in which section. Conductances side
// by side add, and all sections see the same pressure, so the effective areas
// of the sections add up to the whole.
type Split struct {
	Whole     Interval // effective area, m²
	Rows      []SplitRow
	Rest      Interval // what is in no tested section, m²; may be negative by chance
	RestShare Interval
	Next      SplitStep
	NextRow   int // the section Next is about, for SplitInto and SplitLonger
}

// NewSplit divides a whole among the sections tested so far.
func NewSplit(whole Interval, sections []Section) Split {
	s := Split{Whole: whole}
	areas := make([]Interval, 0, len(sections))
	for _, x := range sections {
		areas = append(areas, x.Area)
		s.Rows = append(s.Rows, SplitRow{x, Share(x.Area, whole)})
	}
	s.Rest = Difference(whole, Sum(areas...))
	if len(sections) == 0 {
		s.Rest = whole
	}
	s.RestShare = Share(s.Rest, whole)
	s.next()
	return s
}

// most is the share of a leak beyond which a section is the one to go for.
const most = 0.5

func (s *Split) next() {
	largest, widest := -1, -1
	wide := func(i int) float64 { return s.Rows[i].Area.High - s.Rows[i].Area.Low }
	for i, r := range s.Rows {
		if largest < 0 || r.Area.Value > s.Rows[largest].Area.Value {
			largest = i
		}
		if widest < 0 || wide(i) > wide(widest) {
			widest = i
		}
	}
	switch {
	case s.Whole == Interval{}:
		s.Next = SplitWhole
	case s.Whole.Low <= 0:
		s.Next = SplitNoLeak
	case s.Rest.High < 0:
		s.Next = SplitDoubt
	case largest >= 0 && s.Rows[largest].Share.Low > most:
		s.Next, s.NextRow = SplitInto, largest
	case largest < 0 || s.RestShare.Value > s.Rows[largest].Share.Value:
		s.Next = SplitMore
	case wide(widest) > most*s.Whole.Value:
		s.Next, s.NextRow = SplitLonger, widest
	case s.RestShare.High > most:
		s.Next = SplitMore
	case s.Rows[largest].Share.Value > most:
		s.Next, s.NextRow = SplitInto, largest
	default:
		s.Next = SplitAllDone
	}
}
