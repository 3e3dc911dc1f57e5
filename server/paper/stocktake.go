package paper

import (
	"context"
	"fmt"
	"slices"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
)

// StocktakeSheet makes the sheet of a walk past the shelves: the lots by place, with
// a box for each to write the count in. What the book says is left out, so that what
// is written is what was read off the scale (common practice, no source). place is
// an id; all places when it is empty.
func (p *Press) StocktakeSheet(ctx context.Context, shop, place string, size Size) (*Document, error) {
	j, err := p.begin(ctx, shop, size)
	if err != nil {
		return nil, err
	}
	lots, err := p.lots(ctx, &pb.ListLotsRequest{Parent: shop, Place: place})
	if err != nil {
		return nil, err
	}
	if len(lots) == 0 {
		return nil, refuse("NOTHING_TO_PRINT", "place", place, "there must be a lot to count, and none is here")
	}
	places, err := all(func(token string) ([]*pb.Place, string, error) {
		l, err := p.call.places.ListPlaces(ctx, &pb.ListPlacesRequest{Parent: shop, PageSize: 1000, PageToken: token})
		return l.GetPlaces(), l.GetNextPageToken(), err
	})
	if err != nil {
		return nil, err
	}
	named := map[string]string{"": "No place said"}
	for _, l := range places {
		named[l.GetName()] = joined(last(l.GetName()), l.GetDisplayName())
	}
	slices.SortStableFunc(lots, func(a, b *pb.Lot) int { return strings.Compare(a.GetPlace(), b.GetPlace()) })
	return j.print("stocktake", "Stocktake", func(s *sheet) {
		s.title("Stocktake", j.GetDisplayName()+" · "+j.printed())
		s.fields(3, 12, field{name: "counted on", box: true}, field{name: "counted by", box: true}, field{name: "scale", box: true})
		for left := lots; len(left) > 0; {
			here := left[0].GetPlace()
			n := slices.IndexFunc(left, func(l *pb.Lot) bool { return l.GetPlace() != here })
			if n < 0 {
				n = len(left)
			}
			j.shelf(s, named[here], left[:n])
			left = left[n:]
		}
		s.y += 2
		s.paragraph("A lot that is not there counts 0. Metal without a label is weighed in afterwards.", 9, false, 2)
	})
}

// shelf draws the lots of one place, and lines for what is found there beside them.
func (j *job) shelf(s *sheet, name string, lots []*pb.Lot) {
	s.heading(fmt.Sprintf("%s: %d", name, len(lots)))
	g := s.grid(9, column{head: "lot", kind: strong, width: 27}, column{head: "alloy", width: 22}, column{head: "what", share: 1.2}, column{head: "condition"},
		column{head: "pieces", kind: blank, width: 18}, column{head: "weighs, " + string(j.unit), kind: blank, width: 38}, column{head: "not there", kind: tick, width: 14})
	g.heads()
	for _, l := range lots {
		what := word(l.GetForm())
		if l.GetLabel() != "" {
			what += " “" + l.GetLabel() + "”"
		}
		g.add(last(l.GetName()), last(l.GetAlloy()), joined(what, last(l.GetOwner())), condition(l))
	}
	g.add("", "", "without a label:")
}

// title writes a document's name and what it is of.
func (s *sheet) title(name, of string) {
	s.font(24, true)
	s.at(s.left, s.y+8, s.fit(name, s.right-s.left))
	s.y += 11
	s.font(9, false)
	s.at(s.left, s.y+3, s.fit(of, s.right-s.left))
	s.y += 6.5
}
