package main

import (
	"bytes"
	"io"
	"os"
	"testing"
)

// A disk that takes nothing for a while, here a pipe that nobody reads, holds up
// nobody who hands bytes over, and gets them all in order afterwards.
func TestBookFileDoesNotWaitForTheDisk(t *testing.T) {
	out, in, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	f := &bookFile{path: os.DevNull, wake: make(chan struct{}, 1), file: in}
	stop, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		f.keep(stop, func() {})
	}()
	var want bytes.Buffer
	for i := range 1000 { // far more than a pipe holds
		part := bytes.Repeat([]byte{byte('a' + i%26)}, 1000)
		want.Write(part)
		if _, err := f.Write(part); err != nil {
			t.Fatal(err)
		}
	}
	got := make([]byte, want.Len())
	if _, err := io.ReadFull(out, got); err != nil || !bytes.Equal(got, want.Bytes()) {
		t.Errorf("%v; the same bytes: %v", err, bytes.Equal(got, want.Bytes()))
	}
	close(stop)
	<-ended
	in.Close()
}
