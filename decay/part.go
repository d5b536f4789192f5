package decay

import "fmt"

// Part is what is under test. It decides the default limit and the advice.
// The zero value is not stated.
type Part int

// The parts, from the whole to the smallest.
const (
	PartUnstated Part = iota
	PartEngine        // the whole duct, through the engine
	PartManifold      // the duct blocked off at the manifold
	PartBranch        // one branch of the duct, plugged at both ends
	PartHose          // one hose or cooler, on the bench
	PartFittings      // our own fittings, plug and gauge line alone
)

// Parts lists those that can be stated.
var Parts = []Part{PartEngine, PartManifold, PartBranch, PartHose, PartFittings}

var partNames = [...]string{"unstated", "engine", "manifold", "branch", "hose", "fittings"}

func (p Part) String() string {
	if p < 0 || int(p) >= len(partNames) {
		return partNames[0]
	}
	return partNames[p]
}

// ParsePart finds a part by its name.
func ParsePart(name string) (Part, error) {
	for _, p := range Parts {
		if p.String() == name {
			return p, nil
		}
	}
	return PartUnstated, fmt.Errorf("%.60q is nothing that can be tested (known: engine, manifold, branch, hose, fittings)", name)
}

// DefaultLimit is the hole diameter a verdict is against when none is stated.
// The limits are ours. Through an engine some intake valves always stand open,
// and a sound cylinder leaks past its ring gaps like a hole of 0.6 to 0.8 mm:
// derived from the practice of cylinder leak tests (a restrictor of 1 mm, 5 to
// 10 % loss; from memory). Fittings may leak a third of the area of the hose's
// limit, see [RigShare].
func (p Part) DefaultLimit() Length {
	switch p {
	case PartEngine:
		return 1.5 * Millimetre
	case PartHose:
		return 0.2 * Millimetre
	case PartFittings:
		return 0.115 * Millimetre
	}
	return DefaultLimit
}
