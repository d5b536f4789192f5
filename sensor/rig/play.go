package rig

// Play shuts the valves and lets a script work them from here on, until
// somebody does by hand.
func (s *Source) Play(script Script) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.board.rig.Isolate()
	s.board.script, s.board.stage, s.board.since = &script, 0, s.board.now
}
