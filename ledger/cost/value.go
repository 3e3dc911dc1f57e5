package cost

// Value is what metal has cost, and how much of it came without a price.
type Value struct {
	Cost int64
	Free int64 // mass
}

func (v Value) plus(o Value) Value  { return Value{v.Cost + o.Cost, v.Free + o.Free} }
func (v Value) minus(o Value) Value { return Value{v.Cost - o.Cost, v.Free - o.Free} }

// part is the value of a part of the mass that v is of.
func (v Value) part(mass, whole int64) Value {
	return Value{Part(v.Cost, mass, whole), Part(v.Free, mass, whole)}
}
