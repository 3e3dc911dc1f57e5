package alloy

// Corrected is the composition after a measurement of the same metal: what it names
// counts as measured, the other elements stay as they were thought to be. The element
// that more than half of it was, when it is not measured itself, takes up what the others
// gave or took, in its content and in its doubt. Others that no longer fit beside what was
// measured are scaled down to what is left.
func (c Composition) Corrected(by Composition) Composition {
	base := Most(c.Mean)
	if _, measured := by.Mean[base]; measured || c.Mean[base] <= 50 {
		base = ""
	}
	stays := Composition{Mean: map[string]float64{}}
	for e, v := range c.Mean {
		if _, measured := by.Mean[e]; !measured && e != base {
			stays.Mean[e] = v
		}
	}

	room := max(0, 100-sum(by.Mean, by.Elements()))
	scale := 1.0
	if others := sum(stays.Mean, stays.Elements()); others > room {
		scale = room / others
	}
	out := Composition{Mean: by.Means(), Doubt: map[string]map[string]float64{}}
	for _, e := range stays.Elements() {
		out.Mean[e] = scale * stays.Mean[e]
		room -= out.Mean[e]
	}
	if base != "" {
		unnamed := max(0, 100-sum(c.Mean, c.Elements()))
		out.Mean[base] = max(0, room-unnamed)
	}
	out.doubt(c, stays.Mean, scale, base)
	out.doubt(by, by.Mean, 1, base)
	return out
}

// doubt takes over what from says of the elements of, times scale, and lets base bear
// the other side of it.
func (c Composition) doubt(from Composition, of map[string]float64, scale float64, base string) {
	for k, by := range from.Doubt {
		taken := map[string]float64{}
		for _, e := range elements(by) {
			if _, ok := of[e]; ok {
				taken[e] = scale * by[e]
				if base != "" {
					taken[base] -= taken[e]
				}
			}
		}
		if len(taken) == 0 {
			continue
		}
		if c.Doubt[k] == nil {
			c.Doubt[k] = map[string]float64{}
		}
		for e, s := range taken {
			c.Doubt[k][e] += s
		}
	}
}

// Most is the element there is most of, the first by its letters of several; "" of nothing.
func Most(content map[string]float64) (most string) {
	for e, v := range content {
		if most == "" || v > content[most] || v == content[most] && e < most {
			most = e
		}
	}
	return most
}
