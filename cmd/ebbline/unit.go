package main

import (
	"strings"

	"ebbline/decay"
)

// parseUnit reads a unit that may carry its reference: "psi", "kPa abs", "psig".
func parseUnit(name string) (decay.PressureUnit, error) {
	word, _, _ := strings.Cut(strings.TrimSpace(name), " ")
	u, err := decay.ParsePressureUnit(word)
	if err != nil {
		if cut, uErr := decay.ParsePressureUnit(strings.TrimRight(word, "agAG")); uErr == nil {
			return cut, nil
		}
	}
	return u, err
}
