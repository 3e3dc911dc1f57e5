package web

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

// settingsPart is one page of settings: a question somebody has, the answer as the book
// has it, and what it comes from, each to be corrected where it stands.
type settingsPart struct {
	ID, Question string
	Answer, Warn string // in words
	Groups       []settingGroup
	Rates        *ratesForm
	Costing      *costingForm
}

type settingGroup struct {
	Title, What string
	Things      []settingForm
	New         *settingForm // to add one; nil for the shop itself
}

// settingForm is one thing, as a form.
type settingForm struct {
	Title  string
	Says   string // what it is, in a line
	Warn   string // what is to be done about it
	Path   string // its address in the API; of a new one, that of its kind
	Part   string // what a request calls it
	Etag   string
	Used   int64 // heats of a crucible, of Life
	Life   int64
	Fields []settingField
}

// settingsPage is the way to all of them, with their answers.
type settingsPage struct{ Parts []settingsPart }

// settingParts are the pages of settings by the last step of their addresses.
var settingParts = []struct {
	id, question string
	look         func(*Pages, *visit, *settingsPart) error
}{
	{"shop", "In what does the shop measure and count?", (*Pages).shopSettings},
	{"scales", "What can the scales see?", (*Pages).scaleSettings},
	{"crucibles", "Which crucible for what, and how worn is it?", (*Pages).potSettings},
	{"places", "Where does metal lie, and what is weighed with it?", (*Pages).placeSettings},
	{"partners", "Whom do we buy from, and for whom do we cast?", (*Pages).partnerSettings},
	{"alloys", "Which alloys have names or limits of our own?", (*Pages).alloySettings},
	{"rates", "What does an hour of work cost, and what do we add?", (*Pages).rateSettings},
	{"costing", "What does metal cost when it is used?", (*Pages).costingSettings},
}

func (p *Pages) settings(v *visit) (frame, error) {
	page := settingsPage{}
	for _, s := range settingParts {
		part := settingsPart{ID: s.id, Question: s.question}
		if err := s.look(p, v, &part); err != nil {
			return frame{}, err
		}
		page.Parts = append(page.Parts, part)
	}
	return frame{Title: "Settings", Here: "settings", Main: page}, nil
}

func (p *Pages) setting(v *visit) (frame, error) {
	asked := v.r.PathValue("part")
	for _, s := range settingParts {
		if s.id == asked {
			part := settingsPart{ID: s.id, Question: s.question}
			err := s.look(p, v, &part)
			return frame{Title: s.question, Here: "settings", Main: part}, err
		}
	}
	return frame{}, noPage(asked)
}

func (p *Pages) shopSettings(v *visit, part *settingsPart) error {
	x := v.Shop
	part.Answer = fmt.Sprintf("Weights in %s, temperatures in °%s, money in %s; a day begins at midnight in %s.",
		x.GetMassUnit(), x.GetTemperatureUnit(), x.GetCurrency(), cmp.Or(x.GetTimeZone(), "UTC"))
	part.Groups = []settingGroup{{Things: []settingForm{{Title: x.GetDisplayName(), Path: "/v1/shops/" + v.ID, Part: "shop", Etag: x.GetEtag(), Fields: shopFields(x)}}}}
	return nil
}

// thing is one of a group, as a form.
func thing(part, etag, says string, x named, fields []settingField) settingForm {
	return settingForm{Title: choiceOf(x).Name, Says: says, Path: "/v1/" + x.GetName(), Part: part, Etag: etag, Fields: fields}
}

// another is the form that adds one to a group.
func another(v *visit, collection, part string, fields []settingField) *settingForm {
	return &settingForm{Path: "/v1/shops/" + v.ID + "/" + collection, Part: part, Fields: fields}
}

func (p *Pages) scaleSettings(v *visit, part *settingsPart) error {
	scales, err := p.allScales(v)
	g := settingGroup{What: "What a scale cannot see, no balance can be held to. Its last check and how well it repeats make the balance of a heat sharper.", New: another(v, "scales", "scale", scaleFields(v, nil))}
	var see []string
	for _, x := range scales {
		reads := cmp.Or(x.GetDivision().GetTyped(), x.GetDivision().GetText())
		says := "reads to " + reads
		if x.GetCapacity().GetMg() > 0 {
			says += ", up to " + cmp.Or(x.GetCapacity().GetTyped(), x.GetCapacity().GetText())
		}
		if x.GetCheckLoad().GetMg() > 0 {
			says += "; at " + x.GetCheckLoad().GetText() + " wrong by " + cmp.Or(x.GetCheckError().GetText(), "nothing")
		}
		g.Things = append(g.Things, thing("scale", x.GetEtag(), says, x, scaleFields(v, x)))
		see = append(see, "the "+choiceOf(x).Name+" "+reads)
	}
	part.Groups, part.Answer = []settingGroup{g}, "At best "+strings.Join(see, ", ")+"."
	if len(see) == 0 {
		part.Answer = "No scale is known: a balance cannot say how sure it is."
	}
	return err
}

// nearlyWorn is the share of a crucible's life after which another is thought of, in
// hundredths. Common practice, no source.
const nearlyWorn = 85

func (p *Pages) potSettings(v *visit, part *settingsPart) error {
	of, err := p.families(v)
	if err != nil {
		return err
	}
	families := slices.Compact(slices.Sorted(maps.Values(of)))
	families = slices.DeleteFunc(families, func(f string) bool { return f == "" || f == ledger.UnknownAlloy })
	pots, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Pot, string, error) {
		l, err := p.call.pots.ListPots(ctx, &pb.ListPotsRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetPots(), l.GetNextPageToken(), err
	})
	groups := []settingGroup{
		{Title: "Crucibles", What: "A crucible is for one family of alloys: what it has held goes into what it holds next.", New: another(v, "pots", "pot", potFields(v, nil, families))},
		{Title: "Furnaces"}, {Title: "Not used any more"}}
	var worn []string
	for _, x := range pots {
		f, at := thing("pot", x.GetEtag(), potSays(v, x), x, potFields(v, x, families)), 0
		f.Used, f.Life = x.GetHeats(), x.GetLifeHeats()
		switch {
		case x.GetRetired():
			at = 2
		case x.GetKind() == pb.PotKind_POT_KIND_FURNACE:
			at = 1
		}
		if !x.GetRetired() && f.Life > 0 && 100*f.Used >= nearlyWorn*f.Life {
			f.Warn = "nearly used up"
			if f.Used > f.Life {
				f.Warn = "past the heats it was to last"
			}
			worn = append(worn, f.Title+" "+f.Warn)
		}
		groups[at].Things = append(groups[at].Things, f)
	}
	part.Answer = fmt.Sprintf("%s and %s.", counted(len(groups[0].Things), "crucible"), counted(len(groups[1].Things), "furnace"))
	if len(worn) > 0 {
		part.Warn = strings.Join(worn, ", ")
	}
	for _, g := range groups {
		if len(g.Things) > 0 || g.New != nil {
			part.Groups = append(part.Groups, g)
		}
	}
	return err
}

// potSays is a crucible in a line: how much it holds, and how far it is used up.
func potSays(v *visit, x *pb.Pot) string {
	says := v.Mass(x.GetCapacity())
	if x.GetCapacity().GetMg() == 0 {
		says = x.GetVolume().GetText()
	}
	if f := x.GetFamily(); f != "" {
		says = "for " + f + ", " + says
	}
	heats, life := x.GetHeats(), x.GetLifeHeats()
	switch {
	case life > 0 && heats > life:
		says += ", " + strconv.FormatInt(heats-life, 10) + " past its " + strconv.FormatInt(life, 10) + " heats"
	case life > 0:
		says += ", " + strconv.FormatInt(heats, 10) + " of " + strconv.FormatInt(life, 10) + " heats"
	}
	return says
}

func (p *Pages) placeSettings(v *visit, part *settingsPart) error {
	places, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Place, string, error) {
		l, err := p.call.places.ListPlaces(ctx, &pb.ListPlacesRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetPlaces(), l.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	tares, err := p.allTares(v)
	lies := settingGroup{Title: "Places", What: "What stands on labels and sheets.", New: another(v, "places", "place", placeFields(nil))}
	for _, x := range places {
		lies.Things = append(lies.Things, thing("place", x.GetEtag(), last(x.GetName()), x, placeFields(x)))
	}
	on := settingGroup{Title: "Tares", What: "Pans and bins that are weighed with the metal in them.", New: another(v, "tares", "tare", tareFields(v, nil))}
	for _, x := range tares {
		on.Things = append(on.Things, thing("tare", x.GetEtag(), v.Mass(x.GetMass()), x, tareFields(v, x)))
	}
	part.Groups = []settingGroup{lies, on}
	part.Answer = fmt.Sprintf("%s; %s taken off by themselves.", counted(len(places), "place"), counted(len(tares), "pan or bin"))
	return err
}

func (p *Pages) partnerSettings(v *visit, part *settingsPart) error {
	got, err := p.allParties(v)
	groups := []settingGroup{
		{Title: "They sell to us", New: another(v, "parties", "party", partyFields(nil, pb.Role_ROLE_SUPPLIER))},
		{Title: "We cast for them", New: another(v, "parties", "party", partyFields(nil, pb.Role_ROLE_CUSTOMER))},
		{Title: "They melt or work here", What: "Their names stand on heats and hours; who may sign in is another thing.", New: another(v, "parties", "party", partyFields(nil, pb.Role_ROLE_MELTER))},
		{Title: "Nothing of these"}}
	for _, x := range got {
		at := len(groups) - 1
		if len(x.GetRoles()) > 0 { // the first says where they stand
			at = int(x.GetRoles()[0]) - 1
		}
		groups[at].Things = append(groups[at].Things, thing("party", x.GetEtag(), last(x.GetName()), x, partyFields(x, 0)))
	}
	part.Answer = fmt.Sprintf("%s and %s.", counted(len(groups[0].Things), "supplier"), counted(len(groups[1].Things), "customer"))
	part.Groups = groups[:3]
	if len(groups[3].Things) > 0 {
		part.Groups = groups
	}
	return err
}

func (p *Pages) alloySettings(v *visit, part *settingsPart) error {
	own, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Alloy, string, error) {
		l, err := p.call.alloys.ListAlloys(ctx, &pb.ListAlloysRequest{Parent: "shops/" + v.ID, Own: true, PageSize: 500, PageToken: token})
		return l.GetAlloys(), l.GetNextPageToken(), err
	})
	g := settingGroup{What: "Common casting alloys come with the book, with the figures of their standards. Here are other names, limits and figures for them, and alloys that only this shop melts.",
		New: another(v, "alloys", "alloy", alloyFields(v, nil))}
	var names []string
	for _, x := range own {
		id := last(x.GetName())
		names = append(names, id)
		g.Things = append(g.Things, settingForm{Title: id, Says: strings.Join(x.GetOwn().GetNames(), ", "), Path: "/v1/" + x.GetName(), Part: "alloy", Etag: x.GetEtag(), Fields: alloyFields(v, x)})
	}
	part.Groups, part.Answer = []settingGroup{g}, "None: all are as the standards have them."
	if len(names) > 0 {
		part.Answer = strings.Join(names, ", ") + "."
	}
	return err
}
