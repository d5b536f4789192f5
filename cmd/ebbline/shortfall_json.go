package main

import (
	"encoding/json"
	"fmt"
	"math"

	"ebbline/decay"
	"ebbline/decay/report"
)

// printJSON prints one object on one line.
func (a *app) printJSON(v any) error {
	b, err := json.Marshal(v)
	if err == nil {
		_, err = fmt.Fprintf(a.out, "%s\n", b)
	}
	return err
}

func kpa(p decay.Pressure) float64 { return math.Round(float64(p)) / 1e3 }

// json is a hole worth repairing as programs read it.
func (w worthy) json() map[string]any {
	return map[string]any{"hole_mm": finite(float64(w.Hole) / decay.Millimetre), "share": w.Share, "speed_rpm": w.Speed.RPM(), "requested_kpa_abs": kpa(w.Requested)}
}

func (a *app) shortfallJSON(in *complaint, c decay.Complaint, e decay.Engine, leak *measuredLeak, m *decay.Meaning, w *worthy, cd float64) error {
	type finding struct {
		Code  string `json:"code"`
		Stops bool   `json:"stops"`
		Text  string `json:"text"`
	}
	type bad struct {
		Line int    `json:"line"`
		Text string `json:"text"`
	}
	points, findings, bads := []map[string]any{}, []finding{}, []bad{}
	for i, p := range c.Points {
		x := map[string]any{"speed_rpm": p.Speed.RPM(), "requested_kpa_abs": kpa(p.Requested), "actual_kpa_abs": kpa(p.Actual), "ambient_kpa": kpa(p.Ambient),
			"missing_kpa": kpa(decay.Pressure(p.Shortfall())), "missing_psi": p.Shortfall() / decay.PSI, "share": p.Share(), "short": p.Short(), "rows": p.Rows}
		if m != nil {
			y := m.At[i]
			x["engine_g_per_s"] = float64(y.Demand) * 1e3
			x["leak_share"] = boundsOf(y.Share, 1)
			x["left_kpa_abs"] = boundsOf(y.Left, decay.Kilopascal)
			x["explains"] = boundsOf(y.Part, 1)
			x["explaining_hole_mm"] = finite(float64(y.Hole) / decay.Millimetre)
			x["worth_hole_mm"] = finite(float64(y.Worth) / decay.Millimetre)
		}
		points = append(points, x)
	}
	for _, f := range c.Findings {
		findings = append(findings, finding{f.Code, f.Stops, report.FindingText(f, in.shown)})
	}
	in.impossible(c)
	for _, b := range in.bad {
		bads = append(bads, bad{b.line, b.why})
	}
	out := map[string]any{
		"next": c.Next.String(), "text": report.ShortfallNext(c), "trend": c.Trend.String(), "begins_rpm": nil, "worst": nil, "shortfall": nil,
		"findings": findings, "points": points, "bad_rows": bads, "unused_columns": in.unused, "blank_rows": in.blank,
		"rows": map[string]int{"given": c.Rows, "judged": c.Judged, "engine_off": c.Off, "idle": c.Idle, "not_requested": c.Unasked, "part_load": c.Part, "impossible": len(c.Impossible)},
	}
	if c.Ambient > 0 {
		out["ambient_kpa"], out["ambient_assumed"] = kpa(c.Ambient), c.Assumed
	}
	if c.Begins >= 0 {
		out["begins_rpm"] = c.Points[c.Begins].Speed.RPM()
	}
	if c.Worst >= 0 {
		out["worst"] = points[c.Worst]
		out["shortfall"] = map[string]any{"value": c.Points[c.Worst].Shortfall() / in.shown.Pascal, "unit": in.shown.Name, "psi": c.Points[c.Worst].Shortfall() / decay.PSI}
	}
	if e.Displacement > 0 {
		d := e.WithDefaults()
		out["engine"] = map[string]any{"displacement_l": float64(d.Displacement) / decay.Litre, "strokes": d.Strokes, "volumetric_efficiency": d.Efficiency, "charge_c": d.Charge.Celsius()}
		out["assumptions"] = report.Assumptions(e)
		out["cd"] = cd
	}
	if leak != nil {
		out["hole_mm"] = boundsOf(holeOf(leak.Escape, cd), decay.Millimetre)
	}
	if leak != nil && leak.through {
		out["caveat"] = throughWords
	}
	if m != nil {
		out["meaning"] = map[string]any{"verdict": decay.ExplainsOf(m.Part.Value).String(), "part": boundsOf(m.Part, 1), "over": m.Over, "text": report.MeaningVerdict(*m)}
	}
	if w != nil {
		out["worth_repairing"] = w.json()
	}
	return a.printJSON(out)
}
