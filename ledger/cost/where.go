package cost

// Where is all the money: its parts sum to In.
type Where struct {
	In        int64
	Stock     int64
	Theirs    int64 // of the shop's metal that went into customers' lots
	Supplies  int64
	InProcess int64
	Castings  int64 // here
	Shipped   int64 // castings that left as what they are
	Left      int64 // lots that left
	Abnormal  int64 // loss beyond the normal, and castings broken up less what they gave
	Expensed  int64
}

// Where says where the money is.
func (f *Flow) Where() Where {
	w := Where{In: f.In}
	for _, p := range f.positions() {
		if p.Owner == "" {
			w.Stock += p.Cost
		} else {
			w.Theirs += p.Cost
		}
	}
	for _, p := range f.Supplies() {
		w.Supplies += p.Cost
	}
	for _, h := range f.Heats() {
		w.InProcess += h.InProcess
		w.Abnormal += h.Abnormal
		for _, c := range h.Castings {
			switch c.Gone {
			case "":
				w.Castings += c.Cost - c.Credit
			case "broken up":
				w.Abnormal += c.Cost - c.Credit
			default:
				w.Shipped += c.Cost - c.Credit
			}
		}
	}
	for _, c := range f.Gone {
		w.Left += c
	}
	for _, c := range f.Expensed {
		w.Expensed += c
	}
	return w
}
