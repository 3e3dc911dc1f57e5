package paper

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
)

// Holds says in words how what metal holds stands against the limits of its alloy, worst
// row first; "" when there are no limits or nothing is known.
func Holds(c *pb.Content) string {
	of, _, _ := strings.Cut(c.GetLimitSet(), "/")
	switch c.GetStanding() {
	case pb.LimitStanding_LIMIT_STANDING_INSIDE:
		if !c.GetComplete() {
			return "inside the limits of " + of + ", as far as it was measured"
		}
		return "inside the limits of " + of
	case pb.LimitStanding_LIMIT_STANDING_TAKEN_TO_BE_INSIDE:
		return "not measured: taken to be inside the limits of " + of
	case pb.LimitStanding_LIMIT_STANDING_MAY_BE_OUTSIDE:
		return "may be outside the limits of " + of + ": " + outsideRows(c)
	case pb.LimitStanding_LIMIT_STANDING_OUTSIDE:
		return "outside the limits of " + of + ": " + outsideRows(c)
	}
	return ""
}

// outsideRows are the rows that metal is, or may be, outside of.
func outsideRows(c *pb.Content) string {
	chance := func(r *pb.LimitChance) float64 { return r.GetBelow() + r.GetAbove() }
	rows := slices.SortedStableFunc(slices.Values(c.GetRows()), func(a, b *pb.LimitChance) int { return cmp.Compare(chance(b), chance(a)) })
	var out []string
	for _, r := range rows {
		if s := r.GetStanding(); s == pb.LimitStanding_LIMIT_STANDING_OUTSIDE || s == pb.LimitStanding_LIMIT_STANDING_MAY_BE_OUTSIDE {
			out = append(out, fmt.Sprintf("%s %.3g ± %.2g %%, where the limit is %s", r.GetLimit().GetElement(), r.GetPercent(), r.GetSdPercent(), strings.TrimPrefix(r.GetLimit().GetText(), r.GetLimit().GetElement()+" ")))
		}
	}
	return strings.Join(out, "; ")
}
