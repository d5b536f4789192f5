package rig

import (
	"testing"
	"testing/synctest"
	"time"

	"ebbline/decay"
)

func TestPlayStartsATestWheneverItIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := Default()
		c.Volume, c.Noise = 1*decay.Litre, 0
		s := NewSource(c, nil)
		defer s.Close()
		for range 200 { // 4 s at rest: nobody works the valves
			it, err := s.Next(t.Context())
			if err != nil || it.P.Gauge(c.Ambient) > 100 {
				t.Fatalf("%v, %v", it.P, err)
			}
		}
		for round := range 2 {
			s.Play(Script{Ready: time.Second, FillMax: 5 * time.Second, Hold: time.Hour, Release: time.Second})
			top := decay.Gauge(0)
			for range 300 {
				it, err := s.Next(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				top = max(top, it.P.Gauge(c.Ambient))
			}
			if top < 0.9*c.Supply {
				t.Errorf("round %d rose to %v Pa gauge", round, top)
			}
			s.Release()
			for range 300 {
				if _, err := s.Next(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
		}
	})
}
