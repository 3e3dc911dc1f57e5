package demo_test

import (
	"context"
	"flag"
	"fmt"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/demo"
)

var seeds = flag.Int("seeds", 2, "how many demo years TestSeeds makes, each with and without mistakes")

// TestSeeds makes many years and reports how the planted mistakes are found, how
// many alarms years without any raise, and how often 90 % forecast intervals hold
// heats they had not seen. The demo's losses and dirt are drawn from families that
// the models do not assume. Figures of a long run stand in DEVELOPERS.md.
func TestSeeds(t *testing.T) {
	ctx := context.Background()
	found := map[string]map[string]int{}
	clean, alarms, named, unusual, inside, heats, insideWrong, heatsWrong := 0, 0, 0, 0, 0, 0, 0, 0
	for seed := range uint64(*seeds) {
		st, rep := seeded(t, demo.Options{Seed: 1000 + seed})
		s := shop.New(st, "harrow", nil)
		rec, err := s.Reconcile(ctx, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range rep.Mistakes {
			if found[m.Kind] == nil {
				found[m.Kind] = map[string]int{}
			}
			v := verdict(rec, m)
			if v == "missed" {
				v = whyMissed(t, s, rec, m)
			}
			found[m.Kind][v]++
			if strings.HasPrefix(v, "missed") {
				t.Logf("seed %d, missed: %s %s %s", 1000+seed, m.Kind, m.Heat, m.What)
			}
		}
		c, err := s.HoldBackLosses(ctx, 20, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		insideWrong, heatsWrong = insideWrong+c.Inside, heatsWrong+c.Heats
		st, _ = seeded(t, demo.Options{Seed: 1000 + seed, Clean: true})
		s = shop.New(st, "harrow", nil)
		if rec, err = s.Reconcile(ctx, ""); err != nil {
			t.Fatal(err)
		}
		clean++
		wrong := 0
		for _, x := range rec.Suspects {
			if x.Unusual {
				unusual++
				continue
			}
			wrong++
			t.Logf("seed %d, clean: %s; alike %d, nearly %d", 1000+seed, x.Sentence, len(x.Alike), len(x.Nearly))
		}
		named += wrong
		if wrong > 0 {
			alarms++
		}
		if c, err = s.HoldBackLosses(ctx, 20, 0.9); err != nil {
			t.Fatal(err)
		}
		inside, heats = inside+c.Inside, heats+c.Heats
	}
	for kind, v := range found {
		t.Logf("%-18s %v", kind, v)
	}
	t.Logf("clean years with a weighing called wrong: %d of %d, %d weighings (stated at most 5 %%); heats called unusual: %d", alarms, clean, named, unusual)
	t.Logf("90 %% forecast intervals held %d of %d heats, %.1f %%", inside, heats, 100*float64(inside)/float64(heats))
	t.Logf("in years with mistakes they held %d of %d, %.1f %%", insideWrong, heatsWrong, 100*float64(insideWrong)/float64(heatsWrong))
	if *seeds >= 50 {
		for _, rate := range []float64{float64(inside) / float64(heats), float64(insideWrong) / float64(heatsWrong)} {
			if rate < 0.85 || rate > 0.95 {
				t.Errorf("coverage %.3f is outside 0.85 to 0.95", rate)
			}
		}
		if float64(alarms)/float64(clean) > 0.1 {
			t.Errorf("%d of %d clean years have a weighing called wrong; at most one in twenty is stated", alarms, clean)
		}
	}
}

// whyMissed tells what nobody could find from what went unseen. A heat that is not
// settled has metal still to be weighed, so nothing contradicts anything yet. And an
// error smaller than what the doubt about the heat's other figures hides with a chance
// of one half cannot be told from it: Detects is the smallest error found with the
// stated power.
func whyMissed(t *testing.T, s *shop.Shop, rec shop.Reconciliation, m demo.Mistake) string {
	heat := m.Heat[strings.LastIndex(m.Heat, "/")+1:]
	h, err := ledger.Get[ledger.Heat](context.Background(), s.Book, ledger.RecHeat, heat)
	if err != nil {
		t.Fatal(err)
	}
	if h.Value.State != ledger.Settled {
		return "not settled yet"
	}
	for _, w := range rec.Streams {
		if w.What == "unaccounted for in heat "+heat && m.Kg < w.Detects {
			return "too small to be seen"
		}
	}
	return "missed"
}

// verdict is how a mistake shows in a reconciliation.
func verdict(rec shop.Reconciliation, m demo.Mistake) string {
	heat := m.Heat[strings.LastIndex(m.Heat, "/")+1:]
	entry := int64(0)
	if m.Entry != "" {
		_, _ = fmt.Sscan(m.Entry[strings.LastIndex(m.Entry, "/")+1:], &entry)
	}
	is := func(e int64, h, what string) bool {
		if entry != 0 {
			return e == entry
		}
		return h == heat
	}
	for _, x := range rec.Suspects {
		if is(x.Entry, x.Heat, x.What) {
			return "named"
		}
	}
	for _, x := range rec.Suspects {
		for _, a := range x.Alike {
			if is(a.Entry, a.Heat, a.What) {
				return "as likely as the one named"
			}
		}
		for _, a := range x.Nearly {
			if is(a.Entry, a.Heat, a.What) {
				return "nearly as likely"
			}
		}
	}
	for _, x := range rec.Suspects {
		if x.Heat == heat || strings.HasSuffix(x.What, "into heat "+heat) {
			return "its heat named"
		}
	}
	return "missed"
}
