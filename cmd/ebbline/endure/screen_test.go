//go:build unix

package endure

import (
	"path/filepath"
	"testing"
	"time"
)

// A whole test at 1 kHz in a terminal: the trace is shown, q ends it, and record
// and capture lie in the book.
func TestScreenAtAThousandHertz(t *testing.T) {
	b, book := newBoard(t, 1000, holding(time.Second, 60)), t.TempDir()
	x := inTerminal(t, command(t, "hold", "--yes", "--port", b.name, "--volume", "10L", "--book", book), look{})
	x.wait("ceiling 30.00 psi gauge", 10*time.Second)
	x.wait("settle", 20*time.Second)
	x.press("q")
	if status := x.ended(10 * time.Second); status != 0 && status != 1 {
		t.Errorf("status %d", status)
	}
	for _, ext := range []string{"*.ebbline", "*.capture"} {
		if names, _ := filepath.Glob(filepath.Join(book, ext)); len(names) != 1 {
			t.Errorf("%d of %s", len(names), ext)
		}
	}
}
