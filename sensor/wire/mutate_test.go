package wire

import (
	"flag"
	"math/rand/v2"
	"testing"
)

// mutations is how many damaged texts each decoder is shown. Fuzzing finds
// more a run; this one shows many more.
var mutations = flag.Int("mutations", 3000, "damaged texts shown to each decoder")

// damage changes a text in a few places, as a bad cable or a wrong program
// does, or as nobody would think of.
func damage(rng *rand.Rand, seeds []string) []byte {
	b := []byte(seeds[rng.IntN(len(seeds))])
	const telling = "0123456789.,;:=+-eE \t\r\n\"{}$*#/xVpsibarkPamBC_\x00\xff\x80"
	for range 1 + rng.IntN(6) {
		at := 0
		if len(b) > 0 {
			at = rng.IntN(len(b))
		}
		switch kind := rng.IntN(8); {
		case kind == 0 || len(b) == 0:
			b = append(b[:at:at], append([]byte{telling[rng.IntN(len(telling))]}, b[at:]...)...)
		case kind == 1:
			b[at] ^= 1 << rng.IntN(8)
		case kind == 2:
			b[at] = telling[rng.IntN(len(telling))]
		case kind == 3: // a part is lost
			end := min(len(b), at+1+rng.IntN(6))
			b = append(b[:at:at], b[end:]...)
		case kind == 4: // a part comes twice
			end := min(len(b), at+1+rng.IntN(12))
			b = append(b[:end:end], b[at:]...)
		case kind == 5: // two texts run into each other
			other := seeds[rng.IntN(len(seeds))]
			b = append(b[:at:at], other[rng.IntN(len(other)+1):]...)
		case kind == 6:
			b[at] = byte(rng.IntN(256))
		default: // much of one thing
			for range rng.IntN(40) {
				b = append(b, b[at])
			}
		}
		if len(b) > 4*MaxLine {
			b = b[:4*MaxLine]
		}
	}
	return b
}

func TestDamagedTexts(t *testing.T) {
	r := ModbusRequest{7, 4, 0, 2}
	frames := []string{string(r.Answer(nil, []uint16{0x3F80, 0})), string(r.Refuse(nil, 2)), string(ModbusRequest{7, 3, 0, 1}.Answer(nil, []uint16{9})), string(r.Append(nil))}
	sentences := []string{"WIXDR,C,24.59,C,TEMP,P,1.02412,B,BARO", "IIXDR,P,101325,P,Baro,P,1,B,X", "GPGGA,1", "IIXDR,P,,B,"}
	maps := []string{"address=1 function=4 register=0 type=float32 order=big unit=bar scale=1 rate=20", "unit=kPaA,parity=even timeout=1s offset=-0.1e2", "unit=counts type=uint16 register=0xffff"}
	for name, show := range map[string]func(rng *rand.Rand){
		"splitter": func(rng *rand.Rand) { checkSplitter(t, damage(rng, boards), uint8(rng.IntN(256))) },
		"lines":    func(rng *rand.Rand) { checkLines(t, string(damage(rng, boards))) },
		"stream": func(rng *rand.Rand) {
			checkStream(t, damage(rng, boards), uint8(rng.IntN(256)), uint8(rng.IntN(256)))
		},
		"sentence": func(rng *rand.Rand) {
			checkSentence(t, string(damage(rng, sentences)), []string{"", "BARO", "X"}[rng.IntN(3)], rng.IntN(2) == 0)
		},
		"answer": func(rng *rand.Rand) { checkAnswer(t, damage(rng, frames), uint8(rng.IntN(256))) },
		"map":    func(rng *rand.Rand) { checkMap(t, string(damage(rng, maps))) },
	} {
		t.Run(name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(4, uint64(len(name))))
			for range *mutations {
				show(rng)
			}
		})
	}
}
