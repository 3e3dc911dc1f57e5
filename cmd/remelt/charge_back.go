package main

import (
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/server/paper"
)

func (a *app) chargeBackCommand() *cobra.Command {
	req := &pb.GetChargeBackRequest{}
	var from, to, by, file string
	var asCSV, workbook, overwrite bool
	c := &cobra.Command{
		Use: "charge-back", Short: "Who used how much metal in a term, with their share of loss and cost",
		Long: "Who used how much metal in a term, with their share of loss and cost: students, members and customers,\n" +
			"or projects. What each heat lost and cost is shared by the mass of its castings, to the last unit.",
		Example: "  remelt charge-back --from 2026-01 --to 2026-05\n  remelt charge-back --from 2026-01-12 --to 2026-05-15 --by commission --csv --file term.csv\n  remelt charge-back --from 2026 --file term.xlsx",
		Args:    cobra.NoArgs,
	}
	f := c.Flags()
	f.StringVar(&from, "from", "", "the first day, or a month or year")
	f.StringVar(&to, "to", "", "the last day, month or year, which is included; --from alone is all of it")
	f.StringVar(&by, "by", "customer", "share it out by "+strings.Join(words[pb.ChargedTo](), " or "))
	f.BoolVar(&asCSV, "csv", false, "write a table for a spreadsheet, its figures as numbers")
	f.BoolVar(&workbook, "xlsx", false, "write a workbook instead; also where --file ends in .xlsx")
	f.StringVar(&file, "file", "", "with --csv or --xlsx: the file to write; standard output unless said")
	f.BoolVar(&overwrite, "overwrite", false, "replace the file if it is there")
	noFiles(c, "from", "to")
	complete(c, map[string]completer{"by": fixed(words[pb.ChargedTo]()...)})
	c.RunE = func(c *cobra.Command, _ []string) (err error) {
		if from == "" {
			return usagef("say the term with --from, such as --from 2026-01 --to 2026-05")
		}
		workbook = workbook || strings.HasSuffix(strings.ToLower(file), ".xlsx")
		switch {
		case asCSV && workbook:
			return usagef("--csv and a workbook: a file is one or the other")
		case workbook && a.json():
			return usagef("--xlsx and -o json: a file is one or the other")
		case file != "" && !asCSV && !workbook:
			return usagef("--file %q: say --csv, or name a file that ends in .xlsx", file)
		case workbook && file == "" && onTerminal(a.out):
			return usagef("a workbook is no text for a terminal; say a file with --file")
		}
		if req.By, err = readWord[pb.ChargedTo]("--by", by); err != nil {
			return err
		}
		u, err := a.units(c.Context())
		if err != nil {
			return err
		}
		days := []string{from}
		if to != "" {
			days = append(days, to)
		}
		start, end, err := readSpan(days, u.zone)
		if err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name, req.StartTime, req.EndTime = parent+"/chargeBack", timestamppb.New(start), timestamppb.New(end)
		r, err := cl.Commissions.GetChargeBack(c.Context(), req)
		if err != nil {
			return err
		}
		v := r.GetChargeBack()
		if asCSV || workbook {
			t := paper.ChargeBack(v, u.mass, u.zone)
			write := t.CSV
			if workbook {
				write = t.XLSX
			}
			if file != "" {
				return a.intoFile(file, overwrite, write)
			}
			return write(a.out)
		}
		return a.show(c.Context(), v, func(p *page) { p.chargeBack(v) })
	}
	return c
}

func (p *page) chargeBack(v *pb.ChargeBack) {
	p.printf("Heats poured from %s until %s, in %s (entry %d)\n\n", p.showTime(v.GetStartTime()), p.showTime(v.GetEndTime()), p.mass, v.GetSequence())
	t := newTable("WHO", "NAME", ">CASTINGS", ">HEATS", ">CAST", ">LOST", ">USED", ">COST", ">RECOVERED", ">OWED")
	row := func(who, name string, l *pb.ChargeLine) {
		t.add(who, name, itoa(l.GetCastings()), itoa(l.GetHeats()), p.figure(l.GetCast()), p.figure(l.GetLost()), p.figure(l.GetUsed()),
			amount(l.GetCost()), amount(l.GetRecovered()), amount(l.GetOwed()))
	}
	for _, l := range v.GetLines() {
		who := last(l.GetWho())
		if who == "" {
			who = "the shop"
		}
		row(who, l.GetDisplayName(), l)
	}
	row("all", "", v.GetTotal())
	t.write(p)
	p.printf("\nNot charged to anyone: %s of loss beyond the normal, %s still in crucibles and molds.\n", v.GetBeyondNormal().GetText(), v.GetInProcess().GetText())
	if n := len(v.GetProvisionalHeats()); n > 0 {
		p.printf("Provisional: %s of %d not settled.\n", plural(n, "heat"), len(v.GetHeats()))
	}
}
