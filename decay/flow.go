package decay

import "math"

// Gas constants of dry air.
const (
	Gamma = 1.4     // ratio of specific heats
	RAir  = 287.053 // J/(kg·K)

	// CriticalRatio is (2/(γ+1))^(γ/(γ−1)): at or below this ratio of outer to
	// inner pressure a nozzle is choked. NACA Report 1135 (1953), Table I, M = 1.
	CriticalRatio = 0.5282817877171742

	// psiChoked is √γ·(2/(γ+1))^((γ+1)/(2(γ−1))), the flow function at M = 1.
	psiChoked = 0.6847314563772704
)

// Psi is the flow function of an ideal nozzle, dimensionless, for the ratio r
// of outer to inner absolute pressure: √(2γ/(γ−1)·(r^(2/γ) − r^((γ+1)/γ)))
// above [CriticalRatio], 0.684731 below it, 0 for r ≥ 1 (no flow; the caller
// knows the direction). Saint-Venant & Wantzel (1839); in this form 40 CFR
// 1065.642 with β = 0.
func Psi(r float64) float64 {
	if r <= CriticalRatio {
		return psiChoked
	}
	if r >= 1 {
		return 0
	}
	// r^(2/γ) − r^((γ+1)/γ) = r^(10/7)·(1 − r^(2/7)), written so that it keeps
	// its digits as r → 1.
	l := math.Log(r)
	return math.Sqrt(2 * Gamma / (Gamma - 1) * math.Exp(2/Gamma*l) * -math.Expm1((Gamma-1)/Gamma*l))
}

// NozzleFlow is the mass flow through the effective area a (Cd·A) from a gas
// at pressure p and temperature t to the outer pressure:
// ṁ = CdA·p/√(RT)·ψ(outer/p). It is 0 when p is not above outer.
func NozzleFlow(a Area, p Pressure, t Temperature, outer Pressure) MassFlow {
	if p <= outer || t <= 0 {
		return 0
	}
	return MassFlow(float64(a) * float64(p) / math.Sqrt(RAir*float64(t)) * Psi(float64(outer/p)))
}

// SharpEdgeCd is the discharge coefficient of a thin sharp-edged hole at the
// ratio r of outer to inner absolute pressure, 0 ≤ r ≤ 1: it falls from 0.84
// at r = 0 over 0.74 at the critical ratio to 0.60 at r = 1. J. A. Perry,
// Trans. ASME 71 (1949) 757–764, in the usual polynomial form.
func SharpEdgeCd(r float64) float64 {
	r = math.Min(math.Max(r, 0), 1)
	return 0.8414 + r*(-0.1002+r*(0.8415+r*(-3.9+r*(4.6001-1.6827*r))))
}

// ISO6358Ratio is the subsonic factor of ISO 6358-1:2013 for a component with
// critical pressure ratio b: 1 for r ≤ b, else √(1 − ((r−b)/(1−b))²), 0 for
// r ≥ 1.
func ISO6358Ratio(r, b float64) float64 {
	switch {
	case r <= b:
		return 1
	case r >= 1:
		return 0
	}
	u := (r - b) / (1 - b)
	return math.Sqrt(1 - u*u)
}

// SonicConductanceArea is the effective nozzle area of a component with sonic
// conductance c in m³/(s·Pa) of air at the reference atmosphere of ISO 8778
// (density 1.185 kg/m³, 20 °C): A = C·ρ₀·√(R·T₀)/ψ*.
func SonicConductanceArea(c float64) Area {
	const rho0, t0 = 1.185, 293.15
	return Area(c * rho0 * math.Sqrt(RAir*t0) / psiChoked)
}

// StoredEnergy is the energy of the air in a pressurised volume:
// E = 2.5·p·V·(1 − (pa/p)^0.286). ASME PCC-2, Art. 501, App. 501-II.
func StoredEnergy(p Pressure, v Volume, ambient Pressure) Energy {
	if p <= ambient {
		return 0
	}
	return Energy(2.5 * float64(p) * float64(v) * (1 - math.Pow(float64(ambient/p), 0.286)))
}

// PlugForce is the force with which pressure g pushes a plug of the given
// bore: g·A.
func PlugForce(g Gauge, bore Length) Force { return Force(float64(g) * float64(CircleArea(bore))) }

// StandardAtmosphere is the ambient pressure at a geopotential altitude in
// metres, below 11 km: US Standard Atmosphere 1976.
func StandardAtmosphere(altitude Length) Pressure {
	return Pressure(Atmosphere * math.Pow(1-float64(altitude)*0.0065/288.15, 5.255876))
}

// MolarMassAir is that of dry air, kg/mol.
const MolarMassAir = 8.314462618 / RAir

// SCCM0C is the flow in standard cubic centimetres per minute, the reference
// being 0 °C and 101.325 kPa, of a molar flow in mol/s. NIST: 1 sccm (0 °C) =
// 7.43584e-7 mol/s.
func SCCM0C(molPerSecond float64) float64 { return molPerSecond / 7.435839e-7 }
