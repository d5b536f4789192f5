package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"hash"
)

// Digest says whether a record is as it was written. The digests are SHA-256
// (FIPS 180-4): they tell of damage and of later edits, and are no signature:
// whoever means to deceive can compute them anew. The zero value is NoDigest.
type Digest int

// What the digests of a record can say.
const (
	NoDigest      Digest = iota // the record has none: it is torn, or of version 1
	DigestFits                  // the record is whole
	DigestDiffers               // the record was changed after it was written
)

func (d Digest) String() string {
	return [...]string{"no digest", "whole", "changed"}[d]
}

// A record of version 2 has two digests above its end line. The first covers
// every line but the readings and marks, so that a list of records can check
// what it shows without reading a whole test; the second covers every line
// above it. Both count a line's text and one line feed, so that a tool which
// rewrites line ends does no harm.
const (
	factsKey  = "digest_facts"
	digestKey = "digest"
)

// digester adds up the two digests of a record; without all only the first.
type digester struct{ facts, all hash.Hash }

func newDigester() digester { return digester{sha256.New(), sha256.New()} }

// sum is a digest as a record holds it; "" of none.
func sum(h hash.Hash) string {
	if h == nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil))
}

var lineFeed = []byte("\n")

// line takes a line without its end.
func (d digester) line(s []byte, isFact bool) {
	s = bytes.TrimSuffix(s, []byte("\r"))
	if d.all != nil {
		d.all.Write(s)
		d.all.Write(lineFeed)
	}
	if isFact {
		d.facts.Write(s)
		d.facts.Write(lineFeed)
	}
}
