package program

import (
	"bytes"
	"math"
	"testing"

	"example.org/remelt/ledger/charge/program/glpsol"
)

func runGlpsol(t testing.TB, p *Problem, limit int, flags ...string) glpsol.Answer {
	t.Helper()
	var b bytes.Buffer
	if err := WriteMPS(&b, p); err != nil {
		t.Fatal(err)
	}
	return glpsol.Run(t, b.Bytes(), limit, flags...)
}

// holds reports whether glpsol's own answer keeps the rows of p, as floats may.
func holds(a glpsol.Answer, p *Problem) bool {
	for _, r := range p.Rows {
		v, size := 0.0, 1.0
		for _, k := range r.Terms {
			c, _ := k.Coef.Float64()
			v += c * a.X[k.Col]
			size += math.Abs(c * a.X[k.Col])
		}
		if r.Lo != nil {
			if lo, _ := r.Lo.Float64(); v < lo-1e-5*size {
				return false
			}
		}
		if r.Hi != nil {
			if hi, _ := r.Hi.Float64(); v > hi+1e-5*size {
				return false
			}
		}
	}
	return true
}
