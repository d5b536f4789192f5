package report

import "ebbline/decay"

// FlagSentence says in plain words what a flag means; "" of one it does not know.
func FlagSentence(f decay.Flag) string {
	switch f {
	case decay.FlagOverCeiling:
		return "the pressure was above the ceiling"
	case decay.FlagDisturbed:
		return "the hold was disturbed; its clean part was used"
	case decay.FlagStuck:
		return "the sensor repeated one value where it should have moved"
	case decay.FlagSaturated:
		return "the sensor stood at the top of its range"
	case decay.FlagOpenCircuit:
		return "the sensor read below its range, as with a broken wire"
	case decay.FlagGaps:
		return "readings are missing for some time"
	case decay.FlagSpikes:
		return "single readings that jumped were left out"
	case decay.FlagShortHold:
		return "the hold was short"
	case decay.FlagNoZero:
		return "the pressure before the fill was not seen, so the zero was not checked"
	case decay.FlagBadRows:
		return "some rows could not be read"
	case decay.FlagUnsorted:
		return "some rows were out of order and were sorted"
	case decay.FlagDoubled:
		return "some readings had the same time"
	}
	return ""
}
