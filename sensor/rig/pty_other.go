//go:build !unix

package rig

import (
	"context"
	"errors"
)

// Board would be a rig behind a pseudo-terminal, which this system has not.
type Board struct{}

var errNoPty = errors.New("this system has no pseudo-terminals: use ebbline hold without --port, which simulates the rig inside")

// Open always fails on this system.
func Open(Config, *Script) (*Board, error) { return nil, errNoPty }

// Name is empty.
func (b *Board) Name() string { return "" }

// Run always fails on this system.
func (b *Board) Run(context.Context) error { return errNoPty }

// Fill does nothing: a Board cannot be opened on this system.
func (b *Board) Fill() {}

// Isolate does nothing: a Board cannot be opened on this system.
func (b *Board) Isolate() {}

// Release does nothing: a Board cannot be opened on this system.
func (b *Board) Release() {}
