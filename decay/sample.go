package decay

import "time"

// Reference says against what a transducer measures. The zero value is Gauge
// (the common case); a report always prints it.
type Reference int

// The two references.
const (
	ReadsGauge Reference = iota
	ReadsAbsolute
)

func (r Reference) String() string {
	if r == ReadsAbsolute {
		return "absolute"
	}
	return "gauge"
}

// Sample is one reading of the transducer. P is absolute: the reading of a
// gauge transducer has had [Setup.NominalAmbient] added at the edge, so that
// its zero error shows as a difference between the readings before the fill
// and the ambient.
type Sample struct {
	At time.Duration // since the start of the series, not before the sample ahead of it
	P  Pressure      // absolute, Pa, as read: never clamped
}

// Setup is what is known about a test before it starts. The zero value of each
// field means "not stated"; its doc says what is then assumed.
type Setup struct {
	Reads              Reference
	Ambient            Pressure    // absolute; 0: seen before the fill by an absolute transducer, else 101.325 kPa
	AmbientTemperature Temperature // of the air around and of the wall; 0: 20 °C
	Volume             Volume      // 0: unknown, area and hole cannot be given
	VolumeTolerance    float64     // relative, 95 %
	Ceiling            Gauge       // never to be passed; 0: 30 psi
	Of                 Part        // what is under test; decides the default limit
	Limit              Length      // hole diameter the verdict is against; 0: that of the part, 0.5 mm when none is stated
	Cd                 float64     // of the equivalent hole; 0: 0.62
	FullScale          float64     // Pa, of the transducer in its own reference; 0: unknown
	ZeroTolerance      float64     // share of full scale; applies when no zero was seen; 0: none assumed
	SpanTolerance      float64     // relative; 0: none assumed
	Compliance         float64     // rubber may swell the volume by this share at the hold's pressure
	Rigid              bool        // Compliance 0 was stated, and the default is not to be used
	RigLeak            Interval    // effective area of the rig's own leak, m², to be subtracted; zero: none known
	Division           Gauge       // smallest step of a dial read by eye; 0: none
	// Touched is when somebody began to change the leak, pressing or mending
	// joints: the hold under way ended then, and what it tells stands. 0: nobody did.
	Touched time.Duration
	// Shut is when the operator said that the supply valve was shut; 0: never.
	Shut time.Duration
}

// Defaults where a Setup says nothing.
const (
	DefaultCeiling     = Gauge(30 * PSI)
	DefaultLimit       = Length(0.5 * Millimetre)
	DefaultCd          = 0.62
	DefaultTemperature = Temperature(ZeroCelsius + 20)
	DefaultAmbient     = Pressure(Atmosphere)
	DefaultCompliance  = 0.02
	WarningBand        = 0.9 // of the ceiling: where the warning band starts
	// SeenUpTo is the share of a sensor's range up to which a ceiling can be
	// watched: above it zero error and noise reach its end. Our own choice.
	SeenUpTo = 0.95
)

// WithDefaults returns s with every unstated field filled in, save the volume,
// which has no default, and the ambient of an absolute transducer, which the
// readings before the fill may still tell.
func (s Setup) WithDefaults() Setup {
	if s.AmbientTemperature == 0 {
		s.AmbientTemperature = DefaultTemperature
	}
	if s.Ceiling == 0 {
		s.Ceiling = DefaultCeiling
	}
	if s.Limit == 0 {
		s.Limit = s.Of.DefaultLimit()
	}
	if s.Cd == 0 {
		s.Cd = DefaultCd
	}
	if s.Compliance == 0 && !s.Rigid {
		s.Compliance = DefaultCompliance
	}
	return s
}

// RangeEnd is the gauge pressure at which the sensor's range ends; false when
// its full scale is not known.
func (s Setup) RangeEnd() (Gauge, bool) {
	if s.Reads == ReadsAbsolute {
		return Pressure(s.FullScale).Gauge(s.NominalAmbient()), s.FullScale > 0
	}
	return Gauge(s.FullScale), s.FullScale > 0
}

// SeenCeiling is the ceiling for a test of which none was stated: the usual one,
// or a lower one where the transducer ends sooner.
func (s Setup) SeenCeiling() Gauge {
	if end, ok := s.RangeEnd(); ok && end > 0 {
		return min(DefaultCeiling, end*SeenUpTo)
	}
	return DefaultCeiling
}

// NominalAmbient is the ambient by which gauge readings were made absolute.
func (s Setup) NominalAmbient() Pressure {
	if s.Ambient == 0 {
		return DefaultAmbient
	}
	return s.Ambient
}
