package paper

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// CompareIDs compares runs of digits as numbers and the rest as text.
func CompareIDs(x, y string) int {
	for x != "" && y != "" {
		nx, ny := digits(x), digits(y)
		if nx > 0 && ny > 0 {
			a, b := strings.TrimLeft(x[:nx], "0"), strings.TrimLeft(y[:ny], "0")
			if c := cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b)); c != 0 {
				return c
			}
			x, y = x[nx:], y[ny:]
			continue
		}
		if x[0] != y[0] {
			return cmp.Compare(x[0], y[0])
		}
		x, y = x[1:], y[1:]
	}
	return cmp.Compare(len(x), len(y))
}

// digits counts the digits that a text begins with.
func digits(s string) int {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return i
		}
	}
	return len(s)
}

// inOrder puts things in the order in which people count: heat 7 before heat 65.
func inOrder[T any](all []T, name func(T) string) {
	slices.SortStableFunc(all, func(a, b T) int { return CompareIDs(last(name(a)), last(name(b))) })
}

// Origins says in short where a lot's metal came from.
func Origins(l *pb.Lot) string {
	var out []string
	add := func(s string) {
		for _, o := range out {
			if o == s {
				return
			}
		}
		out = append(out, s)
	}
	for _, o := range l.GetOrigins() {
		switch kind, ref, _ := strings.Cut(o.GetAccount(), "/"); {
		case o.GetHeat() != "":
			add("heat " + last(o.GetHeat()))
		case kind == "origin":
			if len(l.GetCandidates()) == 0 {
				add("heat not known")
			}
		case kind == "before":
			add("here before the book began")
		case kind == "supplier", kind == "customer":
			add(ref)
		default:
			add(kind + " " + ref)
		}
	}
	if len(l.GetCandidates()) > 0 {
		var heats []string
		for _, h := range l.GetCandidates() {
			heats = append(heats, last(h))
		}
		add("heat " + strings.Join(heats, " or "))
	}
	return strings.Join(out, ", ")
}

// last is the last part of a resource name: the id.
func last(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// word is an enum's value in plain words: FORM_SCRAP_CASTING is "scrap casting",
// and one that is not said nothing.
func word(e protoreflect.Enum) string {
	if e.Number() == 0 {
		return ""
	}
	values := e.Descriptor().Values()
	v := values.ByNumber(e.Number())
	if v == nil {
		return ""
	}
	prefix := strings.TrimSuffix(string(values.ByNumber(0).Name()), "UNSPECIFIED")
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(v.Name()), prefix), "_", " "))
}

// HeatState is a heat's state as the shop says it.
func HeatState(h *pb.Heat) string {
	return map[pb.Heat_State]string{pb.Heat_STATE_PLANNED: "planned", pb.Heat_STATE_MELTING: "melting", pb.Heat_STATE_LATE: "poured, waiting to be weighed back",
		pb.Heat_STATE_SETTLED: "settled", pb.Heat_STATE_DROPPED: "not melted"}[h.GetState()]
}

// Degrees is a temperature on the shop's scale, with what was typed where that is
// another figure.
func Degrees(t *pb.Temperature, u unit.TempUnit) string {
	shown, typed := unit.FormatTemperature(t.GetMilliCelsius(), u, 0), t.GetText()
	figure := func(s string) string {
		return strings.TrimRightFunc(s, func(r rune) bool { return !unicode.IsDigit(r) })
	}
	if typed != "" && figure(typed) != figure(shown) {
		shown += " (typed " + typed + ")"
	}
	return shown
}

// perKelvin is how the API names what superheat adds to the loss.
const perKelvin = "superheat, per K"

// LossEffects are what is learned of losses, per degree of the shop's scale where it is
// by temperature.
func LossEffects(all []*pb.LossEffect, u unit.TempUnit) []*pb.LossEffect {
	out := slices.Clone(all)
	for i, e := range out {
		if e.GetWhat() == perKelvin && u == unit.F {
			per := proto.CloneOf(e)
			per.What = "superheat, per °F"
			for _, r := range []*pb.LossRate{per.GetLearned(), per.GetBelieved()} {
				if r != nil {
					r.Percent, r.SdPercent = r.Percent*5/9, r.SdPercent*5/9 // 1 °F is 5/9 K: NIST SP 811, appendix B.8
				}
			}
			out[i] = per
		}
	}
	return out
}

// joined puts the parts of a line together that there are.
func joined(parts ...string) string {
	var some []string
	for _, p := range parts {
		if p != "" {
			some = append(some, p)
		}
	}
	return strings.Join(some, " · ")
}

// dashed is an enum's value as it is typed: FORM_SCRAP_CASTING is "scrap-casting".
func dashed(e protoreflect.Enum) string { return strings.ReplaceAll(word(e), " ", "-") }

// condition says whether a lot may be used.
func condition(l *pb.Lot) string {
	skimmings := l.GetForm() == pb.Form_FORM_SKIMMINGS
	switch l.GetCondition() {
	case pb.Condition_CONDITION_TO_BE_CLEANED:
		if skimmings {
			return "to be worked up"
		}
		return "to be cleaned"
	case pb.Condition_CONDITION_HELD:
		if why := l.GetHeldWhy(); why != "" {
			return "set apart: " + why
		}
		return "set apart"
	}
	return word(l.GetCondition())
}

// NotInCost says in sentences what the cost of a commission's castings leaves out.
func NotInCost(c *pb.CommissionCost) (out []string) {
	if free := c.GetWithoutPrice(); free.GetMg() > 0 {
		out = append(out, free.GetText()+" of its metal had no price and counts as free: the cost is too low.")
	}
	if all := c.GetHeatsWithoutFuel(); len(all) > 0 {
		var ids []string
		for _, h := range all {
			ids = append(ids, last(h))
		}
		slices.SortFunc(ids, CompareIDs)
		out = append(out, fmt.Sprintf("No fuel was booked of %s %s: it counts as nothing.", map[bool]string{true: "heat", false: "heats"}[len(ids) == 1], strings.Join(ids, ", ")))
	}
	return out
}
