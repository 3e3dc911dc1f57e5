package cost

// Process is one run of a process whose output is alike, with a loss that is normal
// for it. Amounts are in one unit of mass, money in minor units.
type Process struct {
	Cost   int64 // all that went in, less by-products
	Input  int64
	Normal int64 // loss that is expected of this input
	Scrap  int64 // what the normal loss fetches, all together
	Output int64 // good output
}

// Outcome is what became of a process's cost: Good + Abnormal + Scrap is its cost.
type Outcome struct {
	Good     int64 // borne by the good output
	Abnormal int64 // loss beyond the normal at the rate of good output; below zero a gain
	Loss     int64 // the abnormal loss itself
	Scrap    int64
}

// Settle values the output and the abnormal loss at one rate, the cost less scrap over
// the output expected, input less normal loss. A process without expected output is
// abnormal as a whole.
func (p Process) Settle() Outcome {
	expected := p.Input - p.Normal
	o := Outcome{Loss: expected - p.Output, Scrap: p.Scrap}
	rest := p.Cost - p.Scrap
	if expected <= 0 || p.Output <= 0 {
		o.Abnormal = rest
		return o
	}
	o.Abnormal = Part(rest, o.Loss, expected)
	o.Good = rest - o.Abnormal
	return o
}

// Element is one kind of cost of a stage, such as materials or conversion, and how far
// the units still in process have taken it on, in millionths.
type Element struct {
	Cost int64
	Done int64
}

// Million is the whole in millionths.
const Million = 1_000_000

// Stage is a stage of work with units finished and units still in process, by the
// weighted average method.
type Stage struct {
	Finished  int64
	InProcess int64
	Elements  []Element
}

// Value is the cost of the units finished and of those in process; they sum to the
// cost of all elements. Equivalent is for each element the units it counts for, in
// millionths of a unit.
func (s Stage) Value() (finished, inProcess int64, equivalent []int64) {
	for _, e := range s.Elements {
		whole := s.Finished*Million + s.InProcess*e.Done
		part := Part(e.Cost, s.InProcess*e.Done, whole)
		finished += e.Cost - part
		inProcess += part
		equivalent = append(equivalent, whole)
	}
	return finished, inProcess, equivalent
}
