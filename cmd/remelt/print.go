package main

import (
	"context"
	"encoding/json"
	"io"

	"github.com/spf13/cobra"

	"example.org/remelt/client"
	"example.org/remelt/server/paper"
)

func (a *app) printCommand() *cobra.Command {
	return group("print", "Sheets and labels to print, as PDF", a.printHeatCommand(), a.printLabelsCommand(), a.printStocktakeCommand(), a.printPeriodCommand(), a.printOrderCommand(), a.printQuoteCommand())
}

// printFlags are those of every document.
type printFlags struct {
	to        string
	overwrite bool
	size      string
}

func addPrintFlags(c *cobra.Command) *printFlags {
	v := &printFlags{}
	c.Flags().StringVar(&v.to, "to", "", "the file to write; one named after the document unless said, - for standard output")
	c.Flags().BoolVar(&v.overwrite, "overwrite", false, "replace the file if it is there")
	return v
}

// addPaperFlag is for documents on sheets of a size.
func (v *printFlags) addPaperFlag(c *cobra.Command) {
	c.Flags().StringVar(&v.size, "paper", "", "A4 or Letter; Letter where the shop weighs in pounds, else A4, unless said")
	complete(c, map[string]completer{"paper": fixed("A4", "Letter")})
}

func (v *printFlags) paper() (paper.Size, error) {
	if v.size == "" {
		return paper.Size{}, nil
	}
	return paper.ParseSize(v.size)
}

// print makes a document and writes it where it was asked for.
func (a *app) print(ctx context.Context, v *printFlags, draw func(*paper.Press, string) (*paper.Document, error)) error {
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return err
	}
	doc, err := draw(paper.New(cl.Conn, a.now), parent)
	if err != nil {
		return client.FromStatus(err)
	}
	if v.to == "-" {
		_, err := a.out.Write(doc.PDF)
		return err
	}
	to := v.to
	if to == "" {
		to = doc.Name
	}
	if err := writeFile(to, v.overwrite, func(w io.Writer) error { _, err := w.Write(doc.PDF); return err }); err != nil {
		return err
	}
	return a.wrote(to, doc)
}

// wrote says what was written.
func (a *app) wrote(to string, doc *paper.Document) error {
	if a.json() {
		return json.NewEncoder(a.out).Encode(map[string]any{"file": to, "pages": doc.Pages})
	}
	p := a.page(units{})
	p.printf("%s: %s\n", to, plural(doc.Pages, "page"))
	return p.Flush()
}

func (a *app) printHeatCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "heat HEAT",
		Short: "The sheet of a heat: to work by before the pour, where the metal went after it",
		Long: "The sheet of a heat. Before the pour: what to mind, the pieces of the proposed charge to\n" +
			"tick, the molds in the order of pouring, temperatures, and boxes to write in. After it:\n" +
			"where the metal went.",
		Example:           "  remelt print heat 41 --paper A4",
		Args:              exactly("HEAT"),
		ValidArgsFunction: inOrder(a.completeHeats(), nil),
	}
	v := addPrintFlags(c)
	v.addPaperFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		size, err := v.paper()
		if err != nil {
			return client.FromStatus(err)
		}
		return a.print(c.Context(), v, func(p *paper.Press, parent string) (*paper.Document, error) {
			return p.HeatSheet(c.Context(), named(parent, "heats", args[0]), size)
		})
	}
	return c
}

func (a *app) printLabelsCommand() *cobra.Command {
	var o paper.LabelOrder
	var on string
	c := &cobra.Command{
		Use:   "labels [LOT...]",
		Short: "Labels of lots, with a QR code",
		Long: "Labels of lots: those named, or all that are here. The QR code is the lot's id as it\n" +
			"would be typed. A sheet holds eight labels of 99.1 x 67.7 mm on A4, ten of 4 x 2 in on\n" +
			"Letter.",
		Example:           "  remelt print labels L1042-3 --on 100x50mm\n  remelt print labels --place rack --on Letter --used 3",
		ValidArgsFunction: inOrder(a.completeLots()),
	}
	v := addPrintFlags(c)
	f := c.Flags()
	f.StringVar(&o.Alloy, "alloy", "", "only of this alloy, by any of its names")
	f.StringVar(&o.Place, "place", "", "only at this place")
	f.StringVar(&on, "on", "", "A4, Letter, or the size of single labels such as 100x50mm or 4x2in; as for other paper unless said")
	f.IntVar(&o.Used, "used", 0, "labels of the first sheet that are gone already")
	noFiles(c, "used")
	complete(c, map[string]completer{"alloy": a.completeAlloys(), "place": a.completePlaces(), "on": fixed("A4", "Letter", "100x50mm", "4x2in")})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if on != "" {
			if o.On, err = paper.ParseStock(on); err != nil {
				return client.FromStatus(err)
			}
		}
		if len(args) > 0 && (o.Alloy != "" || o.Place != "") {
			return usagef("name the lots, or say an --alloy or a --place, not both")
		}
		return a.print(c.Context(), v, func(p *paper.Press, parent string) (*paper.Document, error) {
			o.Shop = parent
			for _, id := range args {
				o.Lots = append(o.Lots, named(parent, "lots", id))
			}
			return p.Labels(c.Context(), o)
		})
	}
	return c
}

func (a *app) printStocktakeCommand() *cobra.Command {
	var place string
	c := &cobra.Command{
		Use:   "stocktake",
		Short: "A sheet to count by: the lots by place, with boxes to write in",
		Long: "A sheet to count by: the lots by place, with a box for each to write the count in. What the\n" +
			"book says is left out, so that what is written is what was read off the scale.",
		Example: "  remelt print stocktake --place rack",
		Args:    cobra.NoArgs,
	}
	v := addPrintFlags(c)
	v.addPaperFlag(c)
	c.Flags().StringVar(&place, "place", "", "only this place")
	complete(c, map[string]completer{"place": a.completePlaces()})
	c.RunE = func(c *cobra.Command, _ []string) error {
		size, err := v.paper()
		if err != nil {
			return client.FromStatus(err)
		}
		return a.print(c.Context(), v, func(p *paper.Press, parent string) (*paper.Document, error) {
			return p.StocktakeSheet(c.Context(), parent, place, size)
		})
	}
	return c
}

func (a *app) printPeriodCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "period FROM [TO]",
		Short: "The report of a period: metal in, out, on hand and lost, and the money",
		Long: "The report of a period: what each alloy's metal did, the heats poured, what was lost to what,\n" +
			"and the money. One argument is a day, a month or a year; of two days the last is included.",
		Example: "  remelt print period 2026-03",
		Args:    atLeast("FROM"),
	}
	v := addPrintFlags(c)
	v.addPaperFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		if len(args) > 2 {
			return usagef("a period is one or two dates, not %d", len(args))
		}
		size, err := v.paper()
		if err != nil {
			return client.FromStatus(err)
		}
		when, err := a.readPeriod(c.Context(), args)
		if err != nil {
			return err
		}
		return a.print(c.Context(), v, func(p *paper.Press, parent string) (*paper.Document, error) {
			return p.PeriodReport(c.Context(), parent, when, size)
		})
	}
	return c
}
