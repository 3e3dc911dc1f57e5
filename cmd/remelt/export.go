package main

import (
	"bufio"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger/unit"
)

func (a *app) exportCommand() *cobra.Command {
	var to string
	var overwrite bool
	c := &cobra.Command{
		Use:   "export entries|stock|lots|heats|castings",
		Short: "Write the book, or a table of it, for other programs",
		Long: `Write the book, or a table of it, for other programs.

entries are all lines of the book with their canonical bytes and hashes, one JSON
object a line: enough to check the chain somewhere else. The others are tables as
CSV: weights are numbers, exact, in the unit their heading names; text that a
spreadsheet would take for a formula begins with an apostrophe.`,
		Example:   "  remelt export entries --to book.jsonl\n  remelt export stock",
		Args:      exactly("what"),
		ValidArgs: []string{"entries", "stock", "lots", "heats", "castings"},
	}
	c.Flags().StringVar(&to, "to", "", "the file to write; standard output unless said")
	c.Flags().BoolVar(&overwrite, "overwrite", false, "replace the file if it is there")
	c.RunE = func(c *cobra.Command, args []string) error {
		var write func(context.Context, io.Writer) error
		switch args[0] {
		case "entries":
			write = a.exportEntries
		case "stock":
			write = a.exportStock
		case "lots":
			write = a.exportLots
		case "heats":
			write = a.exportHeats
		case "castings":
			write = a.exportCastings
		default:
			return usagef("%q: must be entries, stock, lots, heats or castings", args[0])
		}
		if to != "" {
			return writeFile(to, overwrite, func(w io.Writer) error { return write(c.Context(), w) })
		}
		return write(c.Context(), a.out)
	}
	return c
}

func (a *app) exportEntries(ctx context.Context, w io.Writer) error {
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	told, end := a.progress("export")
	defer end()
	done := int64(0)
	err = client.Pages(func(token string) (string, error) {
		r, err := cl.Entries.ListEntries(ctx, &pb.ListEntriesRequest{Parent: parent, View: pb.EntryView_ENTRY_VIEW_FULL, PageSize: 500, PageToken: token})
		for _, e := range r.GetEntries() {
			if err := writeJSON(out, e); err != nil {
				return "", err
			}
		}
		if done += int64(len(r.GetEntries())); told != nil {
			told(&pb.Progress{Done: done, Unit: "entries"})
		}
		return r.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	return out.Flush()
}

// exportTable writes things as CSV, or with -o json as they are.
func exportTable[M proto.Message](ctx context.Context, a *app, w io.Writer, head []string, all []M, row func(units, M) []any) error {
	if a.json() {
		for _, m := range all {
			if err := writeJSON(w, m); err != nil {
				return err
			}
		}
		return nil
	}
	u, err := a.units(ctx)
	if err != nil {
		return err
	}
	out := csv.NewWriter(w)
	for i, h := range head {
		head[i] = strings.ReplaceAll(h, "UNIT", string(u.csvUnit()))
	}
	if err := out.Write(head); err != nil {
		return err
	}
	for _, m := range all {
		var cells []string
		for _, cell := range row(u, m) {
			cells = append(cells, u.csvCell(cell))
		}
		if err := out.Write(cells); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// csvUnit is the unit of exported masses: pounds where pounds and ounces are shown.
func (u units) csvUnit() unit.MassUnit {
	if u.mass == unit.LBOZ {
		return unit.LB
	}
	return u.mass
}

// csvCell writes a cell: masses as exact numbers, text so that no spreadsheet
// takes it for a formula.
func (u units) csvCell(v any) string {
	switch v := v.(type) {
	case *pb.Mass:
		return unit.FormatMassNumber(v.GetMg(), u.csvUnit(), 1)
	case string:
		if v != "" && strings.ContainsRune("=+-@\t\r", rune(v[0])) {
			return "'" + v
		}
		return v
	}
	return fmt.Sprint(v)
}

func (a *app) exportStock(ctx context.Context, w io.Writer) error {
	s, err := a.stockAt(ctx, "", &asOf{})
	if err != nil {
		return err
	}
	head := []string{"alloy", "owner", "usable_UNIT", "spoken_for_UNIT", "free_UNIT", "to_clean_UNIT", "set_apart_UNIT", "skimmings_UNIT",
		"in_crucible_UNIT", "in_molds_UNIT", "expected_UNIT", "castings_UNIT", "lots"}
	return exportTable(ctx, a, w, head, s.GetPositions(), func(_ units, p *pb.Position) []any {
		return []any{last(p.GetAlloy()), last(p.GetOwner()), p.GetUsable(), p.GetSpokenFor(), p.GetFree(), p.GetToClean(), p.GetSetApart(), p.GetSkimmings(),
			p.GetInCrucible(), p.GetInMolds(), p.GetExpected(), p.GetCastings(), p.GetLots()}
	})
}

func (a *app) exportLots(ctx context.Context, w io.Writer) error {
	all, err := a.lots(ctx, &pb.ListLotsRequest{})
	if err != nil {
		return err
	}
	head := []string{"lot", "alloy", "alloy_sure", "form", "condition", "held_why", "usable", "mass_UNIT", "free_UNIT", "pieces", "place", "owner", "label", "origin", "price", "currency"}
	return exportTable(ctx, a, w, head, all, func(_ units, l *pb.Lot) []any {
		price, currency := money(l.GetPrice().GetMoney())
		return []any{last(l.GetName()), last(l.GetAlloy()), l.GetAlloySure(), word(l.GetForm()), word(l.GetCondition()), l.GetHeldWhy(), l.GetUsable(),
			l.GetMass(), l.GetFree(), l.GetPieces(), last(l.GetPlace()), last(l.GetOwner()), l.GetLabel(), originsOf(l), price, currency}
	})
}

// number is text that is a number already.
type number string

func money(m *pb.Money) (amount number, currency string) {
	if m == nil {
		return "", ""
	}
	text, _, _ := strings.Cut(unit.FormatMoney(m.GetMinor(), m.GetCurrency()), " ")
	return number(text), m.GetCurrency()
}

func (a *app) exportHeats(ctx context.Context, w io.Writer) error {
	all, err := a.heats(ctx, &pb.ListHeatsRequest{})
	if err != nil {
		return err
	}
	cl, _, err := a.begin(ctx)
	if err != nil {
		return err
	}
	var balances []*pb.HeatBalance
	for _, h := range all {
		r, err := cl.Balances.GetHeatBalance(ctx, &pb.GetHeatBalanceRequest{Name: h.GetName() + "/balance"})
		if err != nil {
			return err
		}
		balances = append(balances, r.GetBalance())
	}
	head := []string{"heat", "alloy", "owner", "state", "provisional", "crucible", "furnace", "melter", "poured", "metal_in_UNIT", "castings_UNIT", "returns_UNIT", "pigs_UNIT",
		"spill_kept_UNIT", "recovered_UNIT", "given_UNIT", "heel_UNIT", "trapped_UNIT", "oxide_UNIT", "vapour_UNIT", "spilled_UNIT", "kerf_UNIT", "unaccounted_UNIT",
		"in_crucible_UNIT", "in_molds_UNIT", "standard_uncertainty_UNIT", "note"}
	return exportTable(ctx, a, w, head, balances, func(u units, b *pb.HeatBalance) []any {
		h, t := b.GetHeat(), b.GetTerms()
		return []any{last(h.GetName()), last(h.GetAlloy()), last(h.GetOwner()), word(h.GetState()), b.GetProvisional(), last(h.GetCrucible()), last(h.GetFurnace()), last(h.GetMelter()),
			u.showTime(h.GetPourTime()), t.GetMetalIn(), t.GetCastings(), t.GetReturns(), t.GetPigs(), t.GetSpillKept(), t.GetRecovered(), t.GetGiven(), t.GetHeel(), t.GetTrapped(),
			t.GetOxide(), t.GetVapour(), t.GetSpilled(), t.GetKerf(), t.GetUnaccounted(), t.GetInCrucible(), t.GetInMolds(), b.GetUncertainty().GetStandard(), h.GetNote()}
	})
}

func (a *app) exportCastings(ctx context.Context, w io.Writer) error {
	all, err := a.castings(ctx, &pb.ListCastingsRequest{ShowGone: true})
	if err != nil {
		return err
	}
	head := []string{"casting", "name", "heat", "mold", "alloy", "customer", "commission", "stage", "as_cast_UNIT", "cut_off_UNIT", "finished_UNIT", "mass_UNIT", "gone"}
	return exportTable(ctx, a, w, head, all, func(_ units, k *pb.Casting) []any {
		at := map[pb.Stage]any{pb.Stage_STAGE_AS_CAST: "", pb.Stage_STAGE_CUT_OFF: "", pb.Stage_STAGE_FINISHED: ""}
		for _, sw := range k.GetWeights() {
			at[sw.GetStage()] = sw.GetMass()
		}
		return []any{last(k.GetName()), k.GetDisplayName(), last(k.GetHeat()), last(k.GetMold()), last(k.GetAlloy()), last(k.GetCustomer()), k.GetCommission(), word(k.GetStage()),
			at[pb.Stage_STAGE_AS_CAST], at[pb.Stage_STAGE_CUT_OFF], at[pb.Stage_STAGE_FINISHED], k.GetMass(), k.GetGone()}
	})
}
