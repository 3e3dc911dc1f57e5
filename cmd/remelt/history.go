package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

// collections are the things that have a history, by what people call them.
var collections = map[string]string{"lot": "lots", "heat": "heats", "casting": "castings", "supply": "supplies"}

func (a *app) historyCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "history [lot|heat|casting|supply] ID", Short: "What happened to one thing, newest first",
		Example: "  remelt history L1042-3\n  remelt history heat 41",
		Args:    atLeast("ID"),
	}
	c.ValidArgsFunction = func(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
		of := map[string]completer{"heat": a.completeHeats(), "casting": a.completeCastings(), "supply": a.completeSupplies(), "lot": a.completeLots()}
		switch len(args) {
		case 0:
			lots, d := a.completeLots()(c, args, typed)
			for _, kind := range []string{"lot", "heat", "casting", "supply"} {
				if strings.HasPrefix(kind, typed) {
					lots = append(lots, kind)
				}
			}
			return lots, d
		case 1:
			if f := of[args[0]]; f != nil {
				return f(c, args, typed)
			}
		}
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		collection := "lots"
		if len(args) == 2 {
			if collection = collections[args[0]]; collection == "" {
				return usagef("%q: must be lot, heat, casting or supply", args[0])
			}
			args = args[1:]
		}
		if len(args) != 1 {
			return usagef("history is of one thing; the form is: remelt %s", c.Use)
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		var all []*pb.Entry
		err = client.Pages(func(token string) (string, error) {
			r, err := cl.Entries.ListHistory(c.Context(), &pb.ListHistoryRequest{Name: named(parent, collection, args[0]), PageSize: 1000, PageToken: token})
			all = append(all, r.GetEntries()...)
			return r.GetNextPageToken(), err
		})
		if err != nil {
			return err
		}
		return showEach(c.Context(), a, all, func(p *page) {
			moved := movedBy
			if account := strings.TrimSuffix(collection, "s") + "/" + args[0]; collection == "lots" || collection == "castings" {
				moved = func(e *pb.Entry) string { return movedOf(e, account) }
			}
			p.entryTable(all, moved)
		})
	}
	return c
}

func (a *app) reverseCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "reverse ENTRY --reason WHY", Short: "Take an entry back by a new one, saying why",
		Long: "Take an entry back by a new one with the opposite postings. Nothing is ever changed or\n" +
			"deleted; the old entry stays and shows what took it back.",
		Example:           "  remelt reverse 57 --reason \"weighed on the wrong heat\"",
		Args:              exactly("ENTRY"),
		ValidArgsFunction: cobra.NoFileCompletions,
	}
	w := writeFlags(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		name, err := entryName(parent, args[0])
		if err != nil {
			return err
		}
		r, err := send(c.Context(), a, w, cl.Entries.ReverseEntry, &pb.ReverseEntryRequest{Name: name})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			p.printf("Entry %d (%s) is taken back: %s\n", r.GetReversed().GetSequence(), r.GetReversed().GetKind(), movedBy(r.GetEntry()))
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}
