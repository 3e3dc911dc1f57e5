package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) verifyCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "verify",
		Short: "Read the whole book on the server and derive everything again",
		Long: "Read the whole book on the server and derive everything again: the numbering, the chain of\n" +
			"hashes, the sum of each entry, every balance. The first bad entry is named, and the exit\n" +
			"status is 1.",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			v, err := a.verified(c.Context(), cl, parent)
			if err != nil {
				return err
			}
			if err := a.show(c.Context(), v, func(p *page) { p.verification(v) }); err != nil {
				return err
			}
			if !v.GetWhole() {
				return statusError(exitUnexpected)
			}
			return nil
		},
	}
}

func (p *page) verification(v *pb.Verification) {
	strong := p.strong
	switch {
	case v.GetWhole():
		p.printf("The book is whole: %d entries, the last with hash\n  %s\n", v.GetEntries(), v.GetHeadHash())
	case v.GetBadSequence() != 0:
		p.printf("%s entry %d: %s\n  The %d entries before it are right.\n", strong("THE BOOK IS DAMAGED at"), v.GetBadSequence(), v.GetFault(), v.GetEntries())
	default:
		p.printf("%s %s\n  All %d entries are right; what is kept beside them is not.\n", strong("THE BOOK IS DAMAGED:"), v.GetFault(), v.GetEntries())
	}
}

// progress shows how far long work is, on a terminal only. end takes the line away.
func (a *app) progress(what string) (told func(*pb.Progress), end func()) {
	if !onTerminal(a.err) || a.json() {
		return nil, func() {}
	}
	shown := 0
	line := func(s string) {
		fmt.Fprintf(a.err, "\r%s%s", s, strings.Repeat(" ", max(0, shown-len(s))))
		shown = len(s)
	}
	return func(p *pb.Progress) {
			s := fmt.Sprintf("%s: %d %s", what, p.GetDone(), p.GetUnit())
			if p.GetTotal() > 0 {
				s = fmt.Sprintf("%s: %d of %d %s (%d %%)", what, p.GetDone(), p.GetTotal(), p.GetUnit(), 100*p.GetDone()/p.GetTotal())
			}
			line(s)
		}, func() {
			if shown > 0 {
				line("")
				fmt.Fprint(a.err, "\r")
			}
		}
}
