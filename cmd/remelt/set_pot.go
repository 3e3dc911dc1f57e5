package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) setPotCommand(kind string, k pb.PotKind) *cobra.Command {
	pot := &pb.Pot{Kind: k}
	var volume, capacity, empty, lift, skull, room, pigMold, hottest string
	c := &cobra.Command{Use: kind + " ID [NAME]", Short: "A " + kind + ", with how much it holds and how many heats it lasts",
		Long: "A " + kind + ", with how much it holds, how many heats it lasts, and how it is handled.\n" +
			"Proposals for a heat go by its crucible's handling, else by its furnace's, unless\n" +
			"they are asked otherwise. A value of \"\" takes back what was said.",
		ValidArgsFunction: inOrder(a.completePots(), nil)}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&volume, "volume", "", "usable volume of melt")
	f.StringVar(&capacity, "capacity", "", "the most it may hold, when that is said as a mass")
	f.StringVar(&pot.Family, "family", "", "the family of alloys it is kept for")
	f.Int64Var(&pot.Heats, "heats", 0, "heats melted in it before it came into the book")
	f.Int64Var(&pot.LifeHeats, "life", 0, "heats it is expected to last")
	f.BoolVar(&pot.Retired, "retired", false, "no longer used")
	f.StringVar(&room, "waiting-room", "", "volume of loose metal that can wait preheated")
	f.StringVar(&pigMold, "pig-mold", "", "what one pig mold holds")
	f.Int32Var(&pot.PigMolds, "pig-molds", 0, "how many of them are at hand; as many as needed when 0")
	f.StringVar(&pot.CoolingCelsius, "cooling", "", "what the melt loses a minute while it is poured: °C, or such as \"20 F\"")
	f.StringVar(&hottest, "hottest-tap", "", "the hottest that a melt may leave it")
	f.StringVar(&pot.Price, "price", "", "what it cost; a crucible's is worn off over the heats it is expected to last")
	fields := map[string]string{"price": "price", "volume": "volume", "capacity": "capacity", "family": "family", "heats": "heats", "life": "life_heats", "retired": "retired",
		"waiting-room": "waiting_room", "pig-mold": "pig_mold", "pig-molds": "pig_molds", "cooling": "cooling_celsius", "hottest-tap": "hottest_tap"}
	c.Example = "  remelt set furnace east \"east furnace\" --capacity \"250 lb\" --hottest-tap \"2300 F\""
	if k == pb.PotKind_POT_KIND_CRUCIBLE {
		c.Example = "  remelt set crucible A60 \"no. 60\" --volume \"8 l\" --family \"silicon bronze\" --life 60 --price \"240 USD\"\n" +
			"  remelt set crucible A60 --empty-weight \"38 lb\" --lift \"190 lb\" --fill 90 --pig-mold \"12 lb\" --pig-molds 6"
		f.StringVar(&empty, "empty-weight", "", "what it weighs empty; needed with --lift")
		f.StringVar(&lift, "lift", "", "the most that may be lifted, crucible and metal")
		f.StringVar(&pot.FillPercent, "fill", "", "part of its usable volume that may be filled, in per cent")
		f.StringVar(&skull, "skull", "", "what stays in it after the pour")
		for flag, field := range map[string]string{"empty-weight": "empty_mass", "lift": "lift", "fill": "fill_percent", "skull": "skull"} {
			fields[flag] = field
			noFiles(c, flag)
		}
	}
	noFiles(c, "price", "volume", "capacity", "family", "heats", "life", "waiting-room", "pig-mold", "pig-molds", "cooling", "hottest-tap")
	return a.setThing(c, w, fields, func(c *cobra.Command, cl *client.Client, parent, id, name string, mask *fieldmaskpb.FieldMask) (entryAnswer, error) {
		pot.Name, pot.DisplayName, pot.Capacity = named(parent, "pots", id), name, mass(capacity)
		pot.EmptyMass, pot.Lift, pot.Skull, pot.PigMold, pot.HottestTap = mass(empty), mass(lift), mass(skull), mass(pigMold), degrees(hottest)
		if volume != "" {
			pot.Volume = &pb.Volume{Text: volume}
		}
		if room != "" {
			pot.WaitingRoom = &pb.Volume{Text: room}
		}
		mask.Paths = append(mask.Paths, "kind")
		return send(c.Context(), a, w, cl.Pots.UpdatePot, &pb.UpdatePotRequest{AllowMissing: true, UpdateMask: mask, Pot: pot})
	})
}

// potHandling is how a pot is handled, in words.
func potHandling(p *pb.Pot) string {
	var out []string
	say := func(said bool, format string, args ...any) {
		if said {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	say(p.GetEmptyMass() != nil, "%s empty", p.GetEmptyMass().GetText())
	say(p.GetLift() != nil, "%s to lift at most", p.GetLift().GetText())
	say(p.GetFillPercent() != "", "%s %% full at most", p.GetFillPercent())
	say(p.GetSkull() != nil, "%s stay in it", p.GetSkull().GetText())
	say(p.GetWaitingRoom() != nil, "%s can wait preheated", p.GetWaitingRoom().GetText())
	switch {
	case p.GetPigMolds() > 0:
		say(true, "%s of %s", plural(int(p.GetPigMolds()), "pig mold"), p.GetPigMold().GetText())
	case p.GetPigMold() != nil:
		say(true, "pig molds of %s", p.GetPigMold().GetText())
	}
	say(p.GetCoolingCelsius() != "", "a melt loses %s °C a minute", p.GetCoolingCelsius())
	say(p.GetHottestTap() != nil, "%s at the tap at most", p.GetHottestTap().GetText())
	return strings.Join(out, ", ")
}
