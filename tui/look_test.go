package tui

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestDetectLook(t *testing.T) {
	for _, c := range []struct {
		name, goos string
		env        map[string]string
		page       uint32
		want       Look
	}{
		{"nothing known", "linux", nil, 0, Look{}},
		{"usual", "linux", map[string]string{"TERM": "xterm-256color", "LANG": "de_DE.UTF-8"}, 0, Look{}},
		{"true colours", "linux", map[string]string{"TERM": "xterm-256color", "COLORTERM": "truecolor", "LANG": "C.utf8"}, 0, Look{Colours: ColoursTrue}},
		{"NO_COLOR wins", "linux", map[string]string{"COLORTERM": "truecolor", "NO_COLOR": "1"}, 0, Look{Colours: ColoursNone}},
		{"few colours", "linux", map[string]string{"TERM": "xterm"}, 0, Look{Colours: Colours16}},
		{"dumb", "linux", map[string]string{"TERM": "dumb"}, 0, Look{Colours: ColoursNone, ASCII: true}},
		{"console", "linux", map[string]string{"TERM": "linux", "LANG": "C.UTF-8"}, 0, Look{Colours: Colours16, ASCII: true}},
		{"C locale", "linux", map[string]string{"TERM": "xterm-256color", "LANG": "C"}, 0, Look{ASCII: true}},
		{"LC_ALL comes first", "linux", map[string]string{"LC_ALL": "en_US.ISO-8859-1", "LC_CTYPE": "en_US.UTF-8", "LANG": "en_US.UTF-8"}, 0, Look{ASCII: true}},
		{"LC_CTYPE before LANG", "darwin", map[string]string{"LC_CTYPE": "UTF-8", "LANG": "C"}, 0, Look{}},
		{"old Windows console", "windows", nil, 850, Look{ASCII: true}},
		{"Windows with UTF-8", "windows", nil, 65001, Look{}},
		{"new Windows console", "windows", map[string]string{"WT_SESSION": "x"}, 437, Look{Colours: ColoursTrue}},
		{"light", "linux", map[string]string{"COLORFGBG": "0;15"}, 0, Look{Background: BackgroundLight}},
		{"dark", "linux", map[string]string{"COLORFGBG": "15;default;0"}, 0, Look{Background: BackgroundDark}},
		{"grey on black", "linux", map[string]string{"COLORFGBG": "7;8"}, 0, Look{Background: BackgroundDark}},
		{"no number", "linux", map[string]string{"COLORFGBG": "7;default"}, 0, Look{}},
	} {
		if got := DetectLook(func(k string) string { return c.env[k] }, c.goos, c.page); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

// TestASCIIScreensHoldOnlyASCII draws every moment for a terminal without
// UTF-8, whatever the title and the device say.
func TestASCIIScreensHoldOnlyASCII(t *testing.T) {
	all := moments()
	var names []string
	for n := range all {
		names = append(names, n)
	}
	rapid.Check(t, func(t *rapid.T) {
		s := all[rapid.SampledFrom(names).Draw(t, "moment")]
		w, h := rapid.IntRange(1, 220).Draw(t, "w"), rapid.IntRange(1, 70).Draw(t, "h")
		s.ascii, s.title, s.about.Detail = true, rapid.String().Draw(t, "title"), rapid.String().Draw(t, "detail")
		s.detail, s.help = rapid.Bool().Draw(t, "details"), rapid.Bool().Draw(t, "help")
		for i, l := range strings.Split(s.draw(w, h).render(&none), "\n") {
			if len(l) != w {
				t.Fatalf("line %d is %d bytes long on a screen of %d: %q", i, len(l), w, l)
			}
			for _, r := range l {
				if r < ' ' || r > '~' {
					t.Fatalf("line %d holds %q: %q", i, r, l)
				}
			}
		}
	})
}

// TestOurOwnWordsHaveAnASCIISpelling: a question mark stands only for what
// other people wrote.
func TestOurOwnWordsHaveAnASCIISpelling(t *testing.T) {
	for name, s := range moments() {
		for _, wh := range append(sizes, [2]int{132, 40}) {
			s.ascii, s.detail = true, wh[0] == 100
			for i, l := range strings.Split(s.draw(wh[0], wh[1]).render(&none), "\n") {
				if strings.Contains(strings.ReplaceAll(l, "? ", ""), "?") {
					t.Errorf("%s at %v, line %d: %q", name, wh, i, l)
				}
			}
		}
	}
}

func TestColourModes(t *testing.T) {
	s := moments()["band"]
	g := s.draw(80, 24)
	for _, c := range []struct {
		look     Look
		has, not string
	}{
		{Look{Colours: ColoursNone}, "\x1b[1m", "3"},
		{Look{Colours: Colours16}, "\x1b[1;33m", "38;"},
		{Look{Colours: Colours16, Background: BackgroundLight}, "\x1b[1;35m", "38;"},
		{Look{}, "\x1b[1;38;5;172m", "38;2"},
		{Look{Background: BackgroundDark}, "\x1b[1;38;5;214m", "38;2"},
		{Look{Colours: ColoursTrue, Background: BackgroundLight}, "\x1b[1;38;2;150;84;0m", "38;5"},
	} {
		v := g.render(c.look.palette())
		if !strings.Contains(v, c.has) {
			t.Errorf("%+v has no %q", c.look, c.has)
		}
		for _, code := range strings.Split(v, "\x1b[")[1:] {
			code, _, _ = strings.Cut(code, "m")
			if strings.HasPrefix(code, c.not) || strings.Contains(code, ";"+c.not) {
				t.Errorf("%+v uses %q", c.look, code)
			}
		}
	}
}

// TestColoursCanBeRead holds the contrast of every hue against the backgrounds
// it is meant for: at least 3 to 1 on both where the background is not known,
// 4.5 to 1 where it is (WCAG 2.1, 1.4.3 and 1.4.11; the formula is from its
// definition of relative luminance).
func TestColoursCanBeRead(t *testing.T) {
	hues := append([]*hue{grey, amber, red}, series[:]...)
	for i, h := range hues {
		for b, rgb := range h.rgb {
			black, white := contrasts(t, rgb)
			switch Background(b) {
			case BackgroundUnknown:
				if black < 3 || white < 3 {
					t.Errorf("hue %d: contrast %.1f on black and %.1f on white", i, black, white)
				}
			case BackgroundDark:
				if black < 4.5 {
					t.Errorf("hue %d: contrast %.1f on black", i, black)
				}
			case BackgroundLight:
				if white < 4.5 {
					t.Errorf("hue %d: contrast %.1f on white", i, white)
				}
			}
		}
	}
}

func TestTextThatDoesNotFitEndsInAnEllipsis(t *testing.T) {
	for _, c := range []struct {
		text  string
		limit int
		want  string
	}{
		{"a long title", 6, "a lon…    "},
		{"fits so", 7, "fits so   "},
		{"夜夜夜夜", 5, "夜夜…     "},
		{"夜夜夜", 4, "夜…       "},
		{"夜", 1, "…         "},
		{"ab", 0, "ab        "},
		{"0123456789x", 0, "012345678…"},
	} {
		g := newGrid(10, 1)
		if c.limit > 0 {
			g.text(0, 0, c.text, plain, c.limit)
		} else {
			g.text(0, 0, c.text, plain)
		}
		if got := g.render(&none); got != c.want {
			t.Errorf("%q before %d: %q, want %q", c.text, c.limit, got, c.want)
		}
	}
}

func TestTheFootAlwaysNamesHelpAndQuit(t *testing.T) {
	s := base()
	for w := 20; w < 200; w++ {
		f := foot(s.keys, w)
		if width(f) > w || !strings.Contains(f, "? help") || !strings.Contains(f, "q quit") {
			t.Errorf("the foot of %d cells is %q", w, f)
		}
	}
}

// contrasts are those of a colour "r;g;b" against black and against white.
func contrasts(t *testing.T, rgb string) (black, white float64) {
	t.Helper()
	var r, g, b float64
	if _, err := fmt.Sscanf(rgb, "%f;%f;%f", &r, &g, &b); err != nil {
		t.Fatal(err)
	}
	lin := func(v float64) float64 {
		v /= 255
		if v <= 0.04045 {
			return v / 12.92
		}
		return math.Pow((v+0.055)/1.055, 2.4)
	}
	l := 0.2126*lin(r) + 0.7152*lin(g) + 0.0722*lin(b)
	return (l + 0.05) / 0.05, 1.05 / (l + 0.05)
}
