package balance

import (
	"fmt"
	"math/rand/v2"
)

// shop invents a book of heats and lots whose true weights close: ingots and lots
// of returns are charged, castings, skimmings and a loss leave, and what comes back
// makes lots that later heats use up. Every stream is measured with a standard
// uncertainty of 5 g (skimmings 40 g, loss 150 g). far is how many of the newest lots
// a charge may pick from. It returns the network with its true values in grams.
func shop(rng *rand.Rand, heats, far int) *Network {
	n := &Network{}
	type lot struct {
		name string
		left float64
	}
	var lots []lot
	add := func(id, from, to string, x, u float64) {
		n.Streams = append(n.Streams, Stream{ID: id, From: from, To: to, Value: x, U: u})
	}
	for h := range heats {
		heat := fmt.Sprintf("heat %d", h)
		in := 0.0
		for k := range 2 {
			x := 8000 + 4000*rng.Float64()
			add(fmt.Sprintf("%s ingot %d", heat, k), "", heat, x, 5)
			in += x
		}
		for k := range 4 {
			if len(lots) < 8 {
				break
			}
			p := len(lots) - 1 - rng.IntN(min(far, len(lots)))
			x := lots[p].left
			if x > 3000 && rng.IntN(2) == 0 {
				x *= 0.5
			}
			add(fmt.Sprintf("%s charge %d", heat, k), lots[p].name, heat, x, 5)
			in += x
			if lots[p].left -= x; lots[p].left == 0 {
				lots = append(lots[:p], lots[p+1:]...)
			}
		}
		skim, loss := in*0.015, in*0.012
		add(heat+" skimmings", heat, "", skim, 40)
		add(heat+" loss", heat, "", loss, 150)
		back := in * 0.5
		for k := range 4 {
			name := fmt.Sprintf("lot %d.%d", h, k)
			x := back * (0.15 + 0.1*float64(k) + 0.1*rng.Float64()) / 2
			add(fmt.Sprintf("%s return %d", heat, k), heat, name, x, 5)
			in -= x
			lots = append(lots, lot{name, x})
		}
		add(heat+" castings", heat, "", in-skim-loss, 5)
	}
	for _, l := range lots {
		add(l.name+" closing stock", l.name, "", l.left, 5)
	}
	return n
}

// noisy returns a copy whose measured values carry their errors.
func noisy(n *Network, rng *rand.Rand) *Network {
	out := &Network{Streams: append([]Stream(nil), n.Streams...), Constraints: n.Constraints}
	effects := map[string]float64{}
	for i := range out.Streams {
		s := &out.Streams[i]
		if s.Given != Measured {
			continue
		}
		s.Value += s.U * rng.NormFloat64()
		for _, e := range s.Shared {
			if _, ok := effects[e.Effect]; !ok {
				effects[e.Effect] = rng.NormFloat64()
			}
			s.Value += e.Size * effects[e.Effect]
		}
	}
	return out
}

func seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 0x5eed)) }
