//go:build !unix

package rig

import (
	"context"
	"errors"
	"time"
)

// Board would be a rig behind a pseudo-terminal, which this system has not.
// None can be opened, so that its methods do nothing.
type Board struct{}

var errNoPty = errors.New("this system has no pseudo-terminals: use ebbline hold without --port, which simulates the rig inside")

// Open always fails on this system.
func Open(Config, *Script) (*Board, error) { return nil, errNoPty }

// OpenAt always fails on this system.
func OpenAt(string, Config, *Script) (*Board, error) { return nil, errNoPty }

// Name is empty.
func (b *Board) Name() string { return "" }

// Run always fails on this system.
func (b *Board) Run(context.Context) error { return errNoPty }

// Close does nothing.
func (b *Board) Close() error { return nil }

// Inject does nothing.
func (b *Board) Inject(Fault, time.Duration) {}

// Clear does nothing.
func (b *Board) Clear(Fault) {}

// State is empty.
func (b *Board) State() State { return State{} }

// Sent is nothing.
func (b *Board) Sent() (sent, dropped int) { return 0, 0 }

// Change always fails on this system.
func (b *Board) Change(func(*Rig) error) error { return errNoPty }

// Fill does nothing.
func (b *Board) Fill() {}

// Isolate does nothing.
func (b *Board) Isolate() {}

// Release does nothing.
func (b *Board) Release() {}
