// Package decay says what a pressure-decay test of an air duct means: how big
// the leak is, how sure that is, and whether it is over the limit. It is
// arithmetic only: no clock, no file, no goroutine.
//
// # What is estimated
//
// A duct of known volume is filled with air, shut off and watched by one
// pressure transducer. The package finds the moment of isolation in the
// readings and estimates the effective area CdA of the leak: that of an ideal
// nozzle which passes the same mass flow at the pressure of isolation against
// ambient. The equivalent hole is the round sharp-edged hole with that
// effective area; its discharge coefficient is stated wherever it is printed.
// Without a volume only the rate K = CdA·√(RT)/V is known, and only that is
// given.
//
// # How
//
// The gas has two states, pressure and temperature; with the leak's mass flow
// ṁ and heat from the wall
//
//	m·cv·dT/dt = hA·(Tw − T) − ṁ·R·T        first law
//	p·V = m·R·T                             ideal gas
//	ṁ = CdA·p/√(RT)·ψ(pa/p)                 orifice [1] [2]
//	ṁ ∝ p² − pa²                            seep: many fine paths, laminar [3]
//	ψ(r) = √(2γ/(γ−1)·(r^(2/γ) − r^((γ+1)/γ))) for r above 0.5283, else 0.6847
//
// At sea level an orifice un-chokes at 13.12 psi gauge, so more than half of an
// ordinary hold is subsonic and no single exponential describes it. After a
// quick fill the air is warm and the pressure falls by cooling without any
// leak, 1 K being about 0.34 %; a fast leak chills it. So leak, settling and
// law are estimated together: several models (orifice, seep, mixed; heat
// exchange at a constant rate or by natural convection) are fitted by least
// squares [4] and weighed by their evidence, and the interval covers all that
// explain the trace. Residuals that are not white widen it. The tolerances of
// volume, zero, span and ambient, and swelling rubber, enter afterwards.
//
// # What is assumed
//
// Dry air as an ideal gas; wall and surroundings at one temperature; one
// temperature throughout the gas; the leak's law steady during the hold.
// Rubber that swells or creeps is confusable with a small leak in one short
// hold; [Setup.Compliance] says by how much it may. The priors of settling and
// of the laws are beside the models, with their reasons: air is hardly ever
// hotter than an adiabatic fill makes it, nor much colder than the walls.
//
// A sensor may follow with a lag of some tenths of a second. Where no model
// explains what follows the corner, more of it is left out; where none explains
// the rest, the readings count for less, so that the priors count for more, and
// the interval widens by what the lag does to a fast leak. A coarse converter's
// step is found from the readings; what it hides in zero and slope widens the
// interval as far as noise does not blur it.
//
// # Symbols
//
//	p, pa   pressure in the duct, ambient      Pa, absolute
//	V       volume of the duct                 m³
//	T, Tw   temperature of gas, of wall        K
//	m, ṁ    mass of gas, mass flow of leak     kg, kg/s
//	CdA     effective area                     m²
//	K       CdA·√(R·Tw)/V                      1/s
//	κ       seep's coefficient                 1/(Pa·s)
//	ψ, ψ*   flow function, its choked value    –
//	r, x    pa/p, p/pa                         –
//	τ       thermal time constant              s
//	hA      heat conductance gas to wall       W/K
//	γ, R    1.4, 287.053 J/(kg·K)
//
// # Units
//
// SI inside, without exception. Gauge and absolute pressure are two types,
// [Gauge] and [Pressure], and become each other only with the ambient in hand.
// Texts are parsed at the door (quantity.go) and every printed number has its
// unit and, if a pressure, the word gauge or absolute. Inside a kernel the
// locals carry the symbols above, as in the cited formula.
//
// # Outcomes
//
// A hold is judged against a limit, a hole diameter: [Leaks] when the interval
// lies above it, [Holds] when below, [Undecided] otherwise, which is also the
// zero value. [NeverBuilt], [NoHold] and [Unusable] say why there was nothing
// to judge. Bad input is never clamped or dropped without a word: a [Flag] and
// a [Warning] tell of it.
//
// # Where to start reading
//
// quantity.go and flow.go (vocabulary), sample.go and result.go (what goes in
// and out), history.go (bounded memory), segment.go (phases), model.go (the gas
// and the laws), fit.go (one model to a hold), estimate.go (the models
// weighed), live.go and analyse.go (the two ways in),
// procedure.go (the state machine a screen follows). The subfolder decaytest
// makes traces whose leak is known, by code of its own.
//
// # References
//
//  1. Ames Research Staff, Equations, Tables, and Charts for Compressible
//     Flow, NACA Report 1135 (1953): the isentropic relations.
//  2. 40 CFR 1065.640 and 1065.642: the nozzle's flow coefficient, choked and
//     subsonic, with worked examples.
//  3. Poiseuille's law for a compressible gas at constant temperature, as in
//     any textbook of vacuum technique: flow ∝ p² − pa².
//  4. D. W. Marquardt, An algorithm for least-squares estimation of nonlinear
//     parameters, J. SIAM 11 (1963) 431–441.
//  5. J. A. Perry, Critical flow through sharp-edged orifices, Trans. ASME 71
//     (1949) 757–764: the coefficient of a real hole.
//  6. ISO 6358-1:2013 and ISO 8778:2003: sonic conductance, reference
//     atmosphere.
//  7. R. T. Balmer, Modern Engineering Thermodynamics, Ex. 16.8: a tyre
//     emptying at constant temperature.
//  8. US Standard Atmosphere 1976: ambient pressure by altitude.
//  9. ASME PCC-2, Art. 501, App. 501-II: energy stored in a pressurised gas.
//  10. NIST SP 811 (2008), App. B: unit factors.
//
// Which of them were read, which are quoted by others and which are from
// memory stands beside each check in flow_test.go and quantity_test.go.
package decay
