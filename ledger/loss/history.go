package loss

import (
	"math"
	"time"
)

// Past is one heat that was learned from, in the light of all of them.
type Past struct {
	ID       string
	Time     time.Time
	Weighed  Normal  // loss rate as weighed, with its own uncertainty
	Fitted   float64 // what the model gives for it
	Shrunken Normal  // what it truly lost: weighed, pulled towards fitted by as much as it was badly weighed
	Z        float64 // its standardised error when only the heats before it were known; NaN before the last Config.Calibrate heats
}

// History returns the heats learned from in time order.
func (m *Model) History() []Past {
	out := make([]Past, m.Heats)
	for i := range m.heats {
		h := &m.heats[i]
		offset := m.offset(h.Family)
		fit, _ := m.est.fit(i)
		s := m.est.Shrunken(i)
		rate, _ := h.Rate(m.Causes)
		out[i] = Past{ID: h.ID, Time: h.Time, Weighed: rate, Fitted: fit + offset, Shrunken: Normal{s.Mean + offset, s.SD}, Z: math.NaN()}
		if k := i - (m.Heats - len(m.ahead)); k >= 0 {
			out[i].Z = m.ahead[k].z
		}
	}
	return out
}
