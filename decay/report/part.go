package report

import "ebbline/decay"

// PartWords names what is under test; "" when it is not stated.
func PartWords(p decay.Part) string {
	switch p {
	case decay.PartEngine:
		return "the whole duct, through the engine"
	case decay.PartManifold:
		return "the duct, blocked off at the manifold"
	case decay.PartBranch:
		return "one branch of the duct"
	case decay.PartHose:
		return "one hose or cooler on the bench"
	case decay.PartFittings:
		return "our own fittings"
	}
	return ""
}

// OfWhat is the part and the volume of a test, as the end of a name of it.
func OfWhat(set decay.Setup) string {
	out := ""
	if set.Of != decay.PartUnstated {
		out = " (" + set.Of.String()
	}
	if set.Volume > 0 {
		out += map[bool]string{true: " (", false: ", "}[out == ""] + digits3(float64(set.Volume)/decay.Litre) + " L"
	}
	if out != "" {
		out += ")"
	}
	return out
}

// PartHint is what a person should know before that part is tested; "" when it
// is not stated.
func PartHint(p decay.Part) string {
	switch p {
	case decay.PartEngine:
		return "Some intake valves stand open and pistons leak a little: expect 0.6 to 0.8 mm."
	case decay.PartManifold:
		return "Block the duct at the manifold: the engine's own leaks are then left out."
	case decay.PartBranch:
		return "Plug both ends of the branch; state its own volume, not that of the whole."
	case decay.PartHose:
		return "Plug both ends; a clean hose on the bench should hold very well."
	case decay.PartFittings:
		return "Join fitting, plug and gauge line, without any duct: what they lose is subtracted later."
	}
	return ""
}

// PartAdvice is what to do next after a test of that part had that outcome; ""
// when there is nothing to add.
func PartAdvice(p decay.Part, o decay.Outcome) string {
	if o != decay.Leaks && o != decay.Undecided && o != decay.NeverBuilt {
		return ""
	}
	switch p {
	case decay.PartEngine:
		if o == decay.NeverBuilt {
			return "Turn the crank and try again: a valve may stand open there."
		}
		return "Before you blame a hose, turn the crank and hold again."
	case decay.PartFittings:
		if o == decay.Leaks {
			return "Mend the fittings before you test anything with them."
		}
	case decay.PartManifold:
		if o == decay.Leaks {
			return "Fill again and hunt joint by joint, or split the duct and test the parts."
		}
	case decay.PartBranch:
		if o == decay.Leaks {
			return "Fill again and hunt along this branch, joint by joint."
		}
	case decay.PartHose:
		if o == decay.Leaks {
			return "Check the plugs with soapy water first, then the hose."
		}
	}
	return ""
}

func then(sentence string) string {
	if sentence == "" {
		return ""
	}
	return " " + sentence
}
