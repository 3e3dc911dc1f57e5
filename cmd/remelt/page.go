package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
)

// page is what people read.
type page struct {
	*bufio.Writer
	units
	strong func(string) string
}

func (p *page) printf(format string, args ...any) { fmt.Fprintf(p, format, args...) }

// show prints an answer: what the API said for programs, or what human writes of
// it for people.
func (a *app) show(ctx context.Context, m proto.Message, human func(*page)) error {
	if a.json() {
		return writeJSON(a.out, m)
	}
	u, err := a.units(ctx)
	if err != nil {
		return err
	}
	p := a.page(u)
	human(p)
	return p.Flush()
}

func (a *app) page(u units) *page {
	return &page{Writer: bufio.NewWriter(a.out), units: u, strong: a.strong}
}

// showEach is show for a list: one JSON object a line, or a table.
func showEach[M proto.Message](ctx context.Context, a *app, all []M, human func(*page)) error {
	if !a.json() {
		return a.show(ctx, nil, human)
	}
	for _, m := range all {
		if err := writeJSON(a.out, m); err != nil {
			return err
		}
	}
	return nil
}

// writeJSON writes one object on one line, every field of it, as the REST
// interface does.
func writeJSON(w io.Writer, m proto.Message) error {
	raw, err := protojson.MarshalOptions{EmitUnpopulated: true}.Marshal(m)
	if err != nil {
		return err
	}
	var line bytes.Buffer // protojson puts spaces in at random, so that nobody relies on them
	if err := json.Compact(&line, raw); err != nil {
		return err
	}
	line.WriteByte('\n')
	_, err = w.Write(line.Bytes())
	return err
}

// recorded says what became of a write.
func (p *page) recorded(w *write, e *pb.Entry) {
	if w.dryRun {
		p.printf("Dry run: nothing was recorded. It would be entry %d.\n", e.GetSequence())
	} else {
		p.printf("Recorded as entry %d.\n", e.GetSequence())
	}
	p.flags(e.GetFlags(), e.GetReason())
}

func (p *page) flags(flags []*pb.Flag, reason string) {
	for _, f := range flags {
		p.printf("  %s %s: %s\n", p.strong("flagged"), f.GetCode(), f.GetText())
	}
	if len(flags) > 0 && reason != "" {
		p.printf("  because: %s\n", reason)
	}
}

// comesFirst stands wherever a heat or a plan is shown and nothing is listed.
const comesFirst = "Local codes, safety data sheets and licensed practice come first; that no caution is listed does not make anything safe."

// cautions prints what to mind. Each says itself what comes first.
func (p *page) cautions(all ...*pb.Caution) {
	if len(all) == 0 {
		p.printf("%s\n", comesFirst)
		return
	}
	p.printf("%s\n", p.strong("Mind:"))
	seen := map[string]bool{}
	for _, c := range all {
		if seen[c.GetCode()+c.GetBecause()] {
			continue
		}
		seen[c.GetCode()+c.GetBecause()] = true
		p.printf("  - %s\n", c.GetText())
		if c.GetBecause() != "" {
			p.printf("    (%s)\n", c.GetBecause())
		}
	}
}

// section prints a heading with lines below it, or nothing when there are none.
func (p *page) section(title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	p.printf("%s\n", title)
	for _, l := range lines {
		p.printf("  - %s\n", l)
	}
}

// group is a command that only holds others.
func group(use, short string, subs ...*cobra.Command) *cobra.Command {
	c := &cobra.Command{Use: use, Short: short, RunE: func(c *cobra.Command, args []string) error {
		if len(args) == 0 {
			return c.Help()
		}
		hint := ""
		if near := c.SuggestionsFor(args[0]); len(near) > 0 {
			hint = "; did you mean " + strings.Join(near, " or ") + "?"
		}
		return usagef("%s has no command %q%s", c.CommandPath(), args[0], hint)
	}}
	c.SuggestionsMinimumDistance = 2
	c.AddCommand(subs...)
	return c
}
