// Package chart turns numbers into characters: scales and ticks, a braille
// canvas with a hatched band, columns that follow a trace in constant memory,
// a logarithmic ruler and big glyphs. Its functions are pure, it knows no
// colours and no terminal: a [Class] says what a cell is, the screen decides
// how that looks.
package chart
