package shop

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// TestLongTailedIsConsistent: of values that are drawn from Student's t with 4 degrees
// of freedom, whose standard deviation is √2 of its scale (any table of
// distributions), centre and standard deviation are found.
func TestLongTailedIsConsistent(t *testing.T) {
	d := distuv.StudentsT{Mu: 3, Sigma: 0.5, Nu: 4, Src: rand.NewPCG(1, 2)}
	x := make([]float64, 40_000)
	for i := range x {
		x[i] = d.Rand()
	}
	centre, sd := longTailed(x)
	if math.Abs(centre-3) > 0.02 || math.Abs(sd/(0.5*math.Sqrt2)-1) > 0.03 {
		t.Errorf("centre %.4f, standard deviation %.4f; 3 and %.4f were drawn", centre, sd, 0.5*math.Sqrt2)
	}
}

// TestMistakesHardlyMoveABelief: whatever up to a third of an alloy's heats say, the
// belief stays near what the others say together with the starting belief.
func TestMistakesHardlyMoveABelief(t *testing.T) {
	start := belief{0.004, 0.006, 6}
	rapid.Check(t, func(t *rapid.T) {
		good := rapid.SliceOfN(rapid.Float64Range(0, 0.01), 4, 60).Draw(t, "good")
		bad := rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(0.05, 0.9), rapid.Float64Range(-0.9, -0.05)), 0, len(good)/2).Draw(t, "bad")
		b := believed(append(bad, good...), start)
		if b.mean < -0.01 || b.mean > 0.02 || b.sd > 0.035 || b.sd <= 0 {
			t.Fatalf("believed %+v", b)
		}
	})
}

// TestBelievedStartsAtTheStart: without heats the belief is the starting one, near
// enough for six imaginary heats.
func TestBelievedStartsAtTheStart(t *testing.T) {
	b := believed(nil, belief{0.004, 0.006, 6})
	if math.Abs(b.mean-0.004) > 1e-9 || math.Abs(b.sd/0.006-1) > 0.35 {
		t.Errorf("%+v", b)
	}
}
