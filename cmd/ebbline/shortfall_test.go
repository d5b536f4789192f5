package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ebbline/decay"
	"ebbline/decay/record"
)

// The README shows what shortfall prints today.
func TestReadmeShowsShortfall(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, out, _ := ebbline(t, "", "shortfall", "--displacement", "2.0L", "--hole", "8.1mm 7.5 to 8.8mm", "--requested", "2450hPa", "--actual", "1950hPa", "--speed", "3000rpm")
	if out == "" || !strings.Contains(string(b), out) {
		t.Errorf("the README does not show what ebbline shortfall prints:\n%s", out)
	}
}

func TestHoleWithBounds(t *testing.T) {
	for text, want := range map[string][3]float64{
		"1.0mm":                        {1, 1, 1},
		"1,0 mm ± 5%":                  {1, 0.95, 1.05},
		"1mm+-0.2mm":                   {1, 0.8, 1.2},
		"8.1mm 7.5 to 8.8mm":           {8.1, 7.5, 8.8},
		"0.84 mm, 0.80 to 0.88 mm":     {0.84, 0.8, 0.88},
		"0.84 mm (0.80 mm to 0.88 mm)": {0.84, 0.8, 0.88},
		"1/16in":                       {1.5875, 1.5875, 1.5875},
	} {
		iv, err := holeWithBounds(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		for i, v := range []float64{iv.Value, iv.Low, iv.High} {
			if math.Abs(v*1e3-want[i]) > 1e-9 {
				t.Errorf("%q: %v, want %v mm", text, iv, want)
			}
		}
	}
	for _, text := range []string{"", "1", "0mm", "-1mm", "1mm±2mm", "1mm±200%", "1mm 2 to 3mm", "1mm 0.9 to", "200mm", "1mm to 2mm", "1mm 0.9..1.1mm"} {
		if iv, err := holeWithBounds(text); err == nil {
			t.Errorf("%q is %v", text, iv)
		}
	}
}

// However a table is written, it says the same.
func TestShortfallTableStyles(t *testing.T) {
	for name, text := range map[string]string{
		"commas":            "speed_rpm,requested_hpa,actual_hpa\n2000,2200,1900.5\n3000,2200,2000\n",
		"order, extras":     "x,actual (hPa),t,speed [1/min],requested [hPa]\n0,1900.5,9,2000,2200\n0,2000,9,3000,2200\n",
		"semicolons":        "speed_rpm;requested_hpa;actual_hpa\r\n2000;2200;1900,5\r\n3000;2200;2000\r\n",
		"tabs, BOM, quotes": "\ufeffspeed (rpm)\t\"requested (kPa abs)\"\tactual (bar)\n2000\t\"220,0\"\t1,9005\n3000\t220\t2\n",
		"units below":       "# invented\nspeed,requested,actual\nrpm,hPa,kPa\n2000,2200,190.05\n3000,2200,200\n",
		"quoted commas":     "speed_rpm,requested_hpa,actual_hpa\n\"2.000,0\",\"2200,0\",\"1900,5\"\n3000,2200,2000\n",
		"gauge":             "speed_rpm,requested_hpa_gauge,actual_hpa_gauge,ambient_hpa\n2000,1200,900.5,1000\n3000,1200,1000,1000\n",
		"hertz":             "speed_Hz,requested_hpa,actual_hpa\n33.33333333,2200,1900.5\n50,2200,2000\n",
		"any case":          "SPEED_RPM,Requested_hPa,ACTUAL_HPA\n2000,2200,1900.5\n3000,2200,2000\n",
	} {
		status, out, errOut := ebbline(t, text, "shortfall", "--json", "--ambient", "1000hPa", "-")
		var got struct {
			Next   string
			Points []struct {
				Speed, Requested, Actual float64
			}
		}
		out = strings.NewReplacer("speed_rpm", "speed", "requested_kpa_abs", "requested", "actual_kpa_abs", "actual").Replace(out)
		if err := json.Unmarshal([]byte(out), &got); err != nil || status != exitLeaks || len(got.Points) != 2 {
			t.Errorf("%s: status %d, %v: %s%s", name, status, err, out, errOut)
			continue
		}
		p := got.Points[0]
		if math.Abs(p.Speed-2000) > 1e-5 || math.Abs(p.Requested-220) > 1e-9 || math.Abs(p.Actual-190.05) > 1e-9 {
			t.Errorf("%s: %+v", name, p)
		}
	}
}

// The air around is taken from a barometric column, whatever the sensor reads
// with the engine off, and what is not used is named.
func TestShortfallUsesABarometricColumn(t *testing.T) {
	const rows = "0,979,979,12,1003\n0,979,979,12,1003\n2000,2200,1900,20,1003\n3000,2200,2000,22,1003\n"
	for head, want := range map[string]float64{
		"speed_rpm,requested_mbar,actual_mbar,intake_C,barometric pressure (mbar)\n":      100.3,
		"speed_rpm,requested_mbar,actual_mbar,intake_C,p_baro_mbar\n":                     100.3,
		"speed_rpm,requested_mbar,actual_mbar,ambient_C,p_ambient_mbar\n":                 100.3,
		"speed_rpm,requested_mbar,actual_mbar,ambient_C,Ambient [mbar]\n":                 100.3,
		"speed_rpm,requested_mbar,actual_mbar,ambient_C,other_mbar\n":                     97.9,
		"speed_rpm,requested_mbar,actual_mbar,intake_C,Luftdruck (mbar)\n":                100.3,
		"speed_rpm,requested_mbar,actual_mbar,intake_C,Umgebungsdruck mbar\n":             100.3,
		"speed_rpm,requested_mbar,actual_mbar,intake_C,p_amb [mbar]\n":                    100.3,
		"speed_rpm,requested_mbar,actual_mbar,intake_C,pression atmosphérique_mbar\n":     100.3,
		"speed_rpm,requested_mbar,actual_mbar,intake_C,Luftdruck\nrpm,mbar,mbar,C,mbar\n": 100.3,
		"speed_rpm,requested_mbar,actual_mbar,intake_C,Luftdruck\n":                       97.9, // of what unit?
		"speed_rpm,requested_mbar,actual_mbar,intake_C,Ladeluftdruck (mbar)\n":            97.9,
		"speed_rpm,requested_mbar,actual_mbar,Umgebungstemperatur,other (%)\n":            97.9,
	} {
		_, out, errOut := ebbline(t, head+rows, "shortfall", "--json", "-")
		var got struct {
			Ambient float64  `json:"ambient_kpa"`
			Unused  []string `json:"unused_columns"`
		}
		if err := json.Unmarshal([]byte(out), &got); err != nil || math.Abs(got.Ambient-want) > 1e-9 || len(got.Unused) == 0 {
			t.Errorf("%q: %v, %+v, want %v kPa: %s", head, err, got, want, errOut)
		}
		if _, out, _ = ebbline(t, head+rows, "shortfall", "-"); !strings.Contains(out, "not used") || want > 100 && !strings.Contains(out, "ambient from ") {
			t.Errorf("%q: %s", head, out)
		}
	}
}

// What the example of a hint names are likely columns, and it runs.
func TestShortfallOffersLikelyColumns(t *testing.T) {
	const table = "Datum;Drehzahl (1/min);Ladedruck soll (mbar);Ladedruck ist (mbar);Luftdruck (mbar);Last\n1;2000;2200;2150;950;100\n2;2500;2200;1980;950;100\n3;3000;2200;1900;950;100\n4;3500;2200;1870;950;100\n5;4000;2200;1930;950;100\n"
	_, _, errOut := ebbline(t, table, "shortfall", "-")
	if !strings.Contains(errOut, `--columns "speed=#2,requested=#3,actual=#4", if Drehzahl (1/min), Ladedruck soll (mbar), Ladedruck ist (mbar) are those`) {
		t.Errorf("%s", errOut)
	}
	_, out, errOut := ebbline(t, table, "shortfall", "--columns", "speed=#2,requested=#3,actual=#4", "-")
	out = strings.Join(strings.Fields(out), " ")
	for _, w := range []string{"from 2500 rpm on the share that is missing goes up and down, 10 % to 15 %, and does not shrink: a hole alone", "ambient 950 mbar absolute", `ambient from "Luftdruck (mbar)" in mbar absolute`} {
		if !strings.Contains(out, w) {
			t.Errorf("%q is not said:\n%s%s", w, out, errOut)
		}
	}
}

// A leak that was measured through the engine is told as partly the engine's own.
func TestShortfallThroughTheEngine(t *testing.T) {
	f, err := os.Open(filepath.Join(root, "testdata/scenario/before.ebbline"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rec, err := record.Read(f)
	if err != nil {
		t.Fatal(err)
	}
	for part, want := range map[decay.Part]bool{decay.PartEngine: true, decay.PartManifold: false} {
		rec.Setup.Of = part
		var b strings.Builder
		if err := record.Write(&b, rec); err != nil {
			t.Fatal(err)
		}
		name := put(t, "through.ebbline", b.String())
		for _, asJSON := range []string{"--json=false", "--json"} {
			_, out, errOut := ebbline(t, "", "shortfall", asJSON, "--displacement", "1.2L", "--record", name, "--requested", "2150hPa", "--actual", "1900hPa", "--speed", "2000rpm")
			if got := strings.Contains(out, "caveat"); got != want || errOut != "" {
				t.Errorf("%v, %s: caveat %v, want %v: %s%s", part, asJSON, got, want, out, errOut)
			}
		}
	}
}

// Whatever a table holds, the answer is an answer or an error with a hint, and
// JSON is JSON.
func FuzzShortfallTable(f *testing.F) {
	for _, s := range []string{
		"speed_rpm,requested_hpa,actual_hpa\n2000,2200,1900.5\n", "speed;requested;actual\nrpm;bar;bar\n2000;2,2;1,9\n;;\n",
		"speed_rpm\trequested_hpa\tactual_hpa\tload_%\n0\t1000\t1000\t0\n800\t1000\t900\t5\n", "speed_rpm,requested_hpa,actual_hpa\n1e308,1e308,-1e308\nNaN,,\n",
		"\"", "speed,speed,requested_kpa,actual_kpa\n1,2,3,4\n", "# x\n\n", "speed_rpm,requested_hpa_gauge,actual_hpa_gauge,ambient_hpa\n2000,1200,900,0\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		status, out, errOut := ebbline(t, text, "shortfall", "--json", "--displacement", "2L", "--hole", "3mm", "-")
		switch status {
		case exitTrouble:
			if out != "" || !strings.HasPrefix(errOut, "ebbline: error: ") || !strings.Contains(errOut, "\nebbline: hint: ") {
				t.Errorf("%q: %q, %q", text, out, errOut)
			}
		default:
			if !json.Valid([]byte(out)) || errOut != "" {
				t.Errorf("%q: status %d, %q, %q", text, status, out, errOut)
			}
		}
	})
}
