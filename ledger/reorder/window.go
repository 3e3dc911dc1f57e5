package reorder

import (
	"cmp"
	"maps"
	"math"
	"slices"
)

// Use is a demand: how much was (or will be) taken on a day, and since which day
// that was known.
type Use struct {
	Known, Day int
	Amount     int64
}

// History is what was used from a day on, To not included.
type History struct {
	From, To int
	Uses     []Use
}

// Days is how long the history is.
func (h History) Days() int { return h.To - h.From }

func (h History) check() error {
	if err := need(h.Days() > 0 && h.Days() <= 20_000, "history", h.Days(), "between 1 and 20000 days"); err != nil {
		return err
	}
	for _, u := range h.Uses {
		if err := amount("history", u.Amount); err != nil {
			return err
		}
		if err := need(u.Known <= u.Day, "history", u.Known, "a demand known no later than on its day"); err != nil {
			return err
		}
		if err := need(h.From <= u.Known && u.Known < h.To, "history", u.Known, "a demand that became known within the history"); err != nil {
			return err
		}
	}
	return nil
}

func (h History) total() (sum float64) {
	for _, u := range h.Uses {
		sum += float64(u.Amount)
	}
	return sum
}

// daily is the mean and standard deviation of a day's demand; days without count.
func (h History) daily() Spread {
	by := map[int]float64{}
	for _, u := range h.Uses {
		by[u.Day] += float64(u.Amount)
	}
	n := float64(h.Days())
	mean := h.total() / n
	ss := (n - float64(len(by))) * mean * mean
	for _, day := range slices.Sorted(maps.Keys(by)) { // in order, so that the sum is the same every time
		ss += (by[day] - mean) * (by[day] - mean)
	}
	if n < 2 {
		return Spread{mean, 0}
	}
	return Spread{mean, math.Sqrt(math.Max(ss, 0) / (n - 1))}
}

// moment is a day on which demand became known, and how much.
type moment struct {
	day    int
	amount float64
}

func (h History) moments() (out []moment) {
	by := map[int]float64{}
	for _, u := range h.Uses {
		if u.Amount > 0 {
			by[u.Known] += float64(u.Amount)
		}
	}
	for day, v := range by {
		out = append(out, moment{day, v})
	}
	slices.SortFunc(out, func(a, b moment) int { return a.day - b.day })
	return out
}

// unrolled is the history, closed to a ring, from its beginning to so many days after
// its end, by the day on which each use became known.
func (h History) unrolled(beyond int) (out []Use) {
	n := h.Days()
	for _, u := range h.Uses {
		for turn := 0; u.Known+turn <= h.To+beyond; turn += n {
			out = append(out, Use{u.Known + turn, u.Day + turn, u.Amount})
		}
	}
	slices.SortStableFunc(out, func(a, b Use) int { return cmp.Compare(a.Known, b.Known) })
	return out
}

// unnamed is what was used until a day that had not been known on an earlier one; of
// uses by the day on which they became known.
func unnamed(uses []Use, known, until int) (sum float64) {
	i, _ := slices.BinarySearchFunc(uses, known+1, func(u Use, day int) int { return cmp.Compare(u.Known, day) })
	for _, u := range uses[i:] {
		if u.Known > until {
			break
		}
		if u.Day <= until {
			sum += float64(u.Amount)
		}
	}
	return sum
}

// drops is into how many places the crossing of the reorder point within a demand is divided.
const drops = 10

// outcomes are the demands between ordering and having it that the history shows, how
// far below the point the ordering began included.
func (h History) outcomes(moments []moment, leads []int) (out outcomes) {
	uses := h.unrolled(slices.Max(leads))
	for _, m := range moments {
		for _, l := range leads {
			w := unnamed(uses, m.day, m.day+l)
			for i := range drops {
				out = append(out, outcome{w + m.amount*(float64(i)+0.5)/drops, m.amount})
			}
		}
	}
	return out
}

type outcome struct{ value, weight float64 }

type outcomes []outcome

func (o outcomes) spread() (s Spread) {
	total := 0.0
	for _, x := range o {
		total += x.weight
		s.Mean += x.weight * x.value
	}
	s.Mean /= total
	for _, x := range o {
		s.SD += x.weight / total * (x.value - s.Mean) * (x.value - s.Mean)
	}
	s.SD = math.Sqrt(s.SD)
	return s
}

// quantile is the least value that the share does not exceed.
func (o outcomes) quantile(share float64) float64 {
	slices.SortFunc(o, func(a, b outcome) int { return cmp.Compare(a.value, b.value) })
	total := 0.0
	for _, x := range o {
		total += x.weight
	}
	sum := 0.0
	for _, x := range o {
		if sum += x.weight; sum >= share*total*(1-1e-12) {
			return x.value
		}
	}
	return o[len(o)-1].value
}
