package paper

import (
	"context"
	"fmt"
	"strings"

	qr "github.com/piglig/go-qr"

	pb "example.org/remelt/api/remelt/v1"
)

// LabelOrder says which labels are wanted, and on what.
type LabelOrder struct {
	Shop  string   // shops/{shop}
	Lots  []string // resource names; all that the next two leave unless said
	Alloy string   // only of this alloy, by any of its names
	Place string   // only at this place
	On    Stock    // the shop's usual sheet when it is the zero value
	Used  int      // labels of the first sheet that are gone already
}

// mostLabels is the most of one order: a printer's tray.
const mostLabels = 2000

// Labels makes a label for each lot. Its QR code is the lot's id and nothing else,
// as it would be typed: a scanner that acts as a keyboard can be used wherever a
// lot is asked for.
func (p *Press) Labels(ctx context.Context, o LabelOrder) (*Document, error) {
	j, err := p.begin(ctx, o.Shop, Size{})
	if err != nil {
		return nil, err
	}
	if o.On == (Stock{}) {
		if o.On = sheetA4; j.size == Letter {
			o.On = sheetLetter
		}
	}
	if each := o.On.across * o.On.down; o.Used < 0 || o.Used >= each {
		return nil, refuse("LABELS_USED", "used", fmt.Sprint(o.Used), fmt.Sprintf("must be from 0 to %d: the sheet has %d labels", each-1, each))
	}
	lots, err := p.labelled(ctx, o)
	if err != nil {
		return nil, err
	}
	switch {
	case len(lots) == 0:
		return nil, refuse("NOTHING_TO_PRINT", "lots", joined(o.Alloy, o.Place), "there must be a lot to label, and none is here")
	case len(lots) > mostLabels:
		return nil, refuse("TOO_MANY_LABELS", "lots", fmt.Sprint(len(lots)), fmt.Sprintf("must be at most %d at once; say an alloy or a place", mostLabels))
	}
	name, title := "labels", fmt.Sprintf("%d labels", len(lots))
	if len(lots) == 1 {
		name, title = "label-"+last(lots[0].GetName()), "Label of lot "+last(lots[0].GetName())
	}
	s := newSheet(o.On.page, title, j.stated)
	for i, l := range lots {
		n := (i + o.Used) % (o.On.across * o.On.down)
		if i == 0 || n == 0 {
			s.pdf.AddPage()
		}
		x, y := o.On.left+float64(n%o.On.across)*o.On.stepX, o.On.top+float64(n/o.On.across)*o.On.stepY
		if err := s.label(j, l, inShort(l), x, y, o.On.w, o.On.h); err != nil {
			return nil, err
		}
	}
	return s.document(name)
}

// labelled are the lots of an order, each with its cautions, which a list does not have.
func (p *Press) labelled(ctx context.Context, o LabelOrder) (lots []*pb.Lot, err error) {
	names := o.Lots
	if len(names) == 0 {
		all, err := p.lots(ctx, &pb.ListLotsRequest{Parent: o.Shop, Alloy: o.Alloy, Place: o.Place})
		if err != nil || len(all) > mostLabels {
			return all, err
		}
		for _, l := range all {
			names = append(names, l.GetName())
		}
	}
	for _, name := range names {
		got, err := p.call.lots.GetLot(ctx, &pb.GetLotRequest{Name: name})
		if err != nil {
			return nil, err
		}
		lots = append(lots, got.GetLot())
	}
	return lots, nil
}

// lots reads lots, in the order of their numbers.
func (p *Press) lots(ctx context.Context, r *pb.ListLotsRequest) ([]*pb.Lot, error) {
	r.PageSize = 1000
	found, err := all(func(token string) ([]*pb.Lot, string, error) {
		r.PageToken = token
		l, err := p.call.lots.ListLots(ctx, r)
		return l.GetLots(), l.GetNextPageToken(), err
	})
	inOrder(found, (*pb.Lot).GetName)
	return found, err
}

// short are the cautions of a lot as a label has room for them, by their codes.
var short = map[string]string{
	"wet-metal":         "dry and preheat",
	"zinc-fume":         "zinc fume when melted",
	"lead":              "holds lead",
	"beryllium":         "holds beryllium",
	"magnesium":         "magnesium: fire, no water",
	"aluminium-dross":   "dross: keep dry",
	"silica":            "silica dust",
	"chlorine-degasser": "chlorine",
	"unknown-metal":     "not identified: do not melt",
}

// comesFirst ends every caution.
const comesFirst = "Local codes, safety data sheets and licensed practice come first."

// inShort is what to mind with a lot.
func inShort(l *pb.Lot) string {
	var mind []string
	unknown := last(l.GetAlloy()) == "unknown"
	if unknown { // what is not to be melted need not be dried for it
		mind = append(mind, short["unknown-metal"])
	}
	for _, c := range l.GetCautions() {
		if unknown && (c.GetCode() == "unknown-metal" || c.GetCode() == "wet-metal") {
			continue
		}
		text, known := short[c.GetCode()]
		if !known {
			text = strings.ReplaceAll(c.GetCode(), "-", " ")
		}
		mind = append(mind, text)
	}
	if len(mind) == 0 {
		return comesFirst
	}
	return "Mind: " + strings.Join(mind, "; ") + ". " + comesFirst
}

// label draws one label into a box: the lot as large as it goes, to be read at
// arm's length, its code for a scanner below, and beside that what it is.
func (s *sheet) label(j *job, l *pb.Lot, mind string, x, y, w, h float64) error {
	pad := max(2, 0.05*min(w, h))
	x, y, w, h = x+pad, y+pad, w-2*pad, h-2*pad
	id := plain(last(l.GetName()))
	pt := s.fill(id, w, min(44, 0.25*h/mmOfPt), true)
	s.font(pt, true)
	s.at(x, y+0.74*pt*mmOfPt, id)
	below := y + 0.74*pt*mmOfPt + 1.6

	small := min(8, 0.17*h)
	var lines []string
	for ; ; small -= 0.25 { // smaller before it takes room from the code, but never cut
		s.font(small, false)
		if lines = s.wrap(mind, w, 20); small < 4.75 || float64(len(lines))*small*mmOfPt*1.15 < 0.2*h {
			break
		}
	}
	foot := y + h - float64(len(lines)-1)*small*mmOfPt*1.15 - 0.3
	for i, line := range lines {
		s.at(x, foot+float64(i)*small*mmOfPt*1.15, line)
	}
	side := min(foot-small*mmOfPt-0.8-below, 0.42*w)
	if err := s.code(last(l.GetName()), x-0.06*side, below, side); err != nil {
		return err
	}

	tx, tw := x+0.95*side, w-0.95*side
	pt = min(20, side*0.17/mmOfPt)
	ty := below + pt*mmOfPt*1.15
	put := func(text string, size float64, bold bool) {
		if text == "" || ty > below+side {
			return
		}
		size = max(s.fill(plain(text), tw, size, bold), 0.7*size) // a little smaller before it is cut
		s.font(size, bold)
		s.at(tx, ty, s.fit(text, tw))
		ty += size * mmOfPt * 1.3
	}
	alloy := last(l.GetAlloy())
	if !l.GetAlloySure() {
		alloy += " ?"
	}
	put(joined(alloy, word(l.GetForm())), pt, true)
	size := pt * 0.72
	if l.GetCondition() != pb.Condition_CONDITION_CLEAN {
		put(condition(l), size, true)
	}
	put(l.GetLabel(), size, true)
	if l.GetOwner() != "" {
		put("belongs to "+last(l.GetOwner()), size, true)
	}
	weight := j.mass(l.GetMass())
	if l.GetPieces() > 1 {
		weight += fmt.Sprintf(", %d pieces", l.GetPieces())
	}
	put(weight, size, false)
	put(joined(last(l.GetPlace()), Origins(l)), size, false)
	put(j.stated.In(j.zone).Format("2 Jan 2006"), size, false)
	return nil
}

// quiet is the clear border of a code in modules (ISO/IEC 18004).
const quiet = 4

// code draws a QR code, with its clear border, into a square. Level Q of ISO/IEC
// 18004: about a quarter of its code words may be lost to oil or soot.
func (s *sheet) code(text string, x, y, side float64) error {
	c, err := qr.EncodeText(text, qr.Quartile)
	if err != nil {
		return err
	}
	n := c.Size()
	m := side / float64(n+2*quiet)
	x, y = x+quiet*m, y+quiet*m
	s.pdf.SetFillColor(0, 0, 0)
	for row := range n {
		for from := 0; from < n; from++ {
			to := from
			for to < n && c.Module(to, row) {
				to++
			}
			if to > from { // a hair higher than a module, so that rows join
				s.pdf.Rect(x+float64(from)*m, y+float64(row)*m, float64(to-from)*m, m*1.02, "F")
				from = to
			}
		}
	}
	return nil
}
