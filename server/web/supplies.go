package web

import (
	"context"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
)

// suppliesPage answers what there is of what is used up beside metal, and what is low.
type suppliesPage struct {
	Says      string
	All       []supply
	New       settingForm
	Suppliers []choice
}

type supply struct {
	*pb.Supply
	Left string
	Form settingForm
}

func (p *Pages) suppliesPage(v *visit) (frame, error) {
	got, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Supply, string, error) {
		l, err := p.call.supplies.ListSupplies(ctx, &pb.ListSuppliesRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetSupplies(), l.GetNextPageToken(), err
	})
	if err != nil {
		return frame{}, err
	}
	page := suppliesPage{New: *another(v, "supplies", "supply", supplyFields(v, nil))}
	var low []string
	for _, x := range got {
		s := supply{Supply: x, Left: v.Mass(x.GetOnHand()), Form: thing("supply", x.GetEtag(), "", x, supplyFields(v, x))}
		if x.GetInPieces() {
			s.Left = counted(int(x.GetPiecesOnHand()), "piece")
		}
		if x.GetLow() {
			low = append(low, x.GetDisplayName())
		}
		page.All = append(page.All, s)
	}
	switch {
	case len(got) == 0:
		page.Says = "Nothing is known yet of flux, deoxidiser, crucibles and the like."
	case len(low) > 0:
		page.Says = "To be ordered: " + strings.Join(low, ", ") + "."
	default:
		page.Says = "There is enough of everything."
	}
	if page.Suppliers, err = p.parties(v, pb.Role_ROLE_SUPPLIER); err != nil {
		return frame{}, err
	}
	return frame{Title: "Supplies", Here: "stock", Main: page}, nil
}
