package charge

import (
	"fmt"
	"math/big"
)

// Piece is an ingot, a pig or a lump: it goes in whole or not at all.
type Piece struct {
	ID   string // may be empty; pieces of a lot with the same mass are exchanged freely
	Mass int64  // mg
	Held string // why it is not to be had (spoken for, set apart); empty: it is
}

// Lot is metal of one content.
type Lot struct {
	ID     string
	Family string // asked against Heat.Families
	Return bool   // counts as returns: gating, pigs, castings that failed
	Held   string // why the lot is not to be had; empty: it is

	Pieces    []Piece
	Loose     int64   // mg of loose metal
	LooseHeld int64   // mg of it spoken for elsewhere
	Handful   int64   // mg that the loose metal is taken in; 0: any mass
	Bulk      float64 // g of loose metal that fill 1 mL; 0: its room is not reckoned

	Content map[string]float64 // weight %
	Others  float64            // most, in weight %, of any element that Content does not name
	Loss    *float64           // part lost in the melt; nil: what the heat's Loss says
	Value   int64              // of the whole lot, held metal included, in a small unit of money
	Last    bool               // fed last, under the surface: metal that burns or boils off
}

// Mass is all of the lot, held or not, in mg.
func (l *Lot) Mass() int64 {
	m := l.Loose
	for _, p := range l.Pieces {
		m += p.Mass
	}
	return m
}

func (l *Lot) check(c *checks, at string) {
	c.need(l.ID != "", at+".ID", `""`, "a name that tells the lots apart")
	for i, p := range l.Pieces {
		c.need(p.Mass > 0 && p.Mass <= maxMass, fmt.Sprintf("%s.Pieces[%d].Mass", at, i), p.Mass, "milligrams between 1 and 1e12")
	}
	c.mass(l.Loose, at+".Loose")
	c.mass(l.Handful, at+".Handful")
	c.need(l.LooseHeld >= 0 && l.LooseHeld <= l.Loose, at+".LooseHeld", l.LooseHeld, "between 0 and Loose")
	c.need(l.Bulk == 0 || l.Bulk > 0.001 && l.Bulk < 30, at+".Bulk", l.Bulk, "g per mL of loose metal, or 0 for not reckoned")
	checkContent(c, l.Content, l.Others, at)
	if l.Loss != nil {
		c.need(*l.Loss >= 0 && *l.Loss < 1, at+".Loss", *l.Loss, "a part of the lot, 0 ≤ Loss < 1")
	}
	c.need(l.Value >= 0, at+".Value", l.Value, "money that is not negative")
}

func checkContent(c *checks, content map[string]float64, others float64, at string) {
	sum := 0.0
	for _, e := range elements(content) {
		v := content[e]
		c.need(v >= 0 && v <= 100, at+".Content["+e+"]", v, "weight % between 0 and 100")
		sum += v
	}
	c.need(sum <= 101, at+".Content", sum, "weights that add up to 100 % at most")
	c.need(others >= 0 && others <= 100, at+".Others", others, "weight % between 0 and 100")
}

// LeftOut is a lot, or a piece of one, that the plan may not use, and why.
type LeftOut struct{ Lot, Piece, Why string }

// supply is what of a lot can be decided on at once: some pieces of one mass, or
// its loose metal.
type supply struct {
	lot    int
	mass   int64 // mg of one step; 0 for loose metal by any mass
	steps  int64 // steps to be had
	any    int64 // mg to be had, when mass is 0
	loose  bool
	pieces []int
}

// supplies lists what may go into a heat of the given families.
func supplies(h *Heat, lots []Lot) (out []supply, left []LeftOut) {
	for i := range lots {
		l := &lots[i]
		if l.Held != "" {
			left = append(left, LeftOut{l.ID, "", l.Held})
			continue
		}
		if !h.takes(l.Family) {
			left = append(left, LeftOut{l.ID, "", fmt.Sprintf("metal of family %q does not go into this heat", l.Family)})
			continue
		}
		at := map[int64]int{}
		for k, p := range l.Pieces {
			if p.Held != "" {
				left = append(left, LeftOut{l.ID, p.ID, p.Held})
				continue
			}
			s, ok := at[p.Mass]
			if !ok {
				s = len(out)
				at[p.Mass] = s
				out = append(out, supply{lot: i, mass: p.Mass})
			}
			out[s].steps++
			out[s].pieces = append(out[s].pieces, k)
		}
		if free := l.Loose - l.LooseHeld; free > 0 {
			if l.Handful == 0 {
				out = append(out, supply{lot: i, any: free, loose: true})
			} else {
				if n := free / l.Handful; n > 0 {
					out = append(out, supply{lot: i, mass: l.Handful, steps: n, loose: true})
				}
				if rest := free % l.Handful; rest > 0 { // a last, smaller handful
					out = append(out, supply{lot: i, mass: rest, steps: 1, loose: true})
				}
			}
		}
		if l.LooseHeld > 0 {
			left = append(left, LeftOut{l.ID, "", fmt.Sprintf("%.6g kg of its loose metal is spoken for", kg(l.LooseHeld))})
		}
	}
	return out, left
}

// unitMass is the mass of one step of the supply's column, in mg.
func (s *supply) unitMass() int64 {
	if s.mass == 0 {
		return 1
	}
	return s.mass
}

// cost is the value of one mg of the lot.
func (l *Lot) cost() *big.Rat {
	m := l.Mass()
	if m == 0 {
		return new(big.Rat)
	}
	return big.NewRat(l.Value, m)
}

func kg(mg int64) float64 { return float64(mg) / 1e6 }
