package main

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "example.org/remelt/api/remelt/v1"
)

// importSpace is the name space of the request ids of imported lines.
var importSpace = uuid.MustParse("6f1d1f0a-5d0b-4f0e-9c58-2a3c1d5b7e44")

func (a *app) importCommand() *cobra.Command {
	var as string
	c := &cobra.Command{
		Use:   "import FILE",
		Short: "Book in the lines of a CSV file: metal received, returns weighed in",
		Long: `Book in the lines of a CSV file: metal received, returns weighed in. FILE - is
standard input.

The first line names the columns. Semicolons, commas or tabs may separate them, and
numbers may have a decimal point or a decimal comma.

With --dry-run every line is checked against the book and every bad one is listed;
nothing is recorded. A real run checks the same first and does not begin when any
line is bad. Each line has a request id made of the file's content and its number:
the same file imported again, also after it was interrupted, records nothing twice.
An edited file is a new one.

Columns:
` + lotSheet.help(),
		Example: "  remelt import march.csv --dry-run\n  remelt import march.csv --as weigh-in",
		Args:    exactly("FILE"),
	}
	w := writeFlags(c)
	c.Flags().StringVar(&as, "as", "", "what lines are that do not say: receive or weigh-in")
	complete(c, map[string]completer{"as": fixed("receive", "weigh-in")})
	c.RunE = func(c *cobra.Command, args []string) error {
		if w.requestID != "" {
			return usagef("--request-id is for one write; an import makes one for each line")
		}
		raw, err := a.readFile(args[0])
		if err != nil {
			return err
		}
		s, err := readSheet(raw, lotSheet)
		if err != nil {
			return err
		}
		return a.importSheet(c.Context(), w, as, args[0], raw, s)
	}
	return c
}

func (a *app) readFile(path string) ([]byte, error) {
	if path == "-" {
		return io.ReadAll(io.LimitReader(a.in, maxImport+1))
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, usageError{err}
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, maxImport+1))
}

func (a *app) importSheet(ctx context.Context, w *write, as, file string, raw []byte, s *sheet) error {
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return err
	}
	im := &importer{app: a, client: cl, parent: parent, assumed: as, made: map[string]importLine{}}
	sum := sha256.Sum256(raw)
	ids := uuid.NewSHA1(importSpace, sum[:])
	bad := slices.Clone(s.bad)
	var lines []importLine
	told, end := a.progress("check")
	for i, l := range s.lines {
		line, err := im.line(ctx, w, uuid.NewSHA1(ids, fmt.Append(nil, l.number)).String(), l)
		if err == nil {
			err = im.validate(ctx, line)
		}
		switch {
		case err != nil && (unanswered(err) || ctx.Err() != nil):
			end()
			return err
		case err != nil:
			bad = append(bad, badLineOf(l, err))
		default:
			lines = append(lines, line)
		}
		if told != nil {
			told(&pb.Progress{Done: int64(i + 1), Total: int64(len(s.lines)), Unit: "lines"})
		}
	}
	end()
	if !a.json() {
		fmt.Fprintf(a.out, "%s: %s\n", file, s.describe())
	}
	if len(bad) > 0 {
		return a.listBad(bad)
	}
	if w.dryRun {
		if !a.json() {
			fmt.Fprintf(a.out, "Dry run: every line is good, nothing was recorded.\n")
		}
		return nil
	}
	return im.record(ctx, lines)
}

// validate asks the server to check a line and record nothing.
func (im *importer) validate(ctx context.Context, l importLine) error {
	req := proto.Clone(l.check)
	req.ProtoReflect().Set(req.ProtoReflect().Descriptor().Fields().ByName("validate_only"), protoreflect.ValueOfBool(true))
	if l.check != l.req { // it is not the request that will be sent, so it must not use its id
		req.ProtoReflect().Clear(req.ProtoReflect().Descriptor().Fields().ByName("request_id"))
	}
	_, _, err := im.put(ctx, req)
	return err
}

func (im *importer) put(ctx context.Context, req proto.Message) (*pb.Lot, *pb.Entry, error) {
	switch req := req.(type) {
	case *pb.ReceiveLotRequest:
		r, err := im.client.Lots.ReceiveLot(ctx, req)
		return r.GetLot(), r.GetEntry(), err
	case *pb.WeighInRequest:
		r, err := im.client.Lots.WeighIn(ctx, req)
		return r.GetLot(), r.GetEntry(), err
	}
	panic(fmt.Sprintf("a line became a %T", req))
}

// listBad lists every bad line, and says by the exit status that there are some.
func (a *app) listBad(bad []badLine) error {
	slices.SortStableFunc(bad, func(x, y badLine) int { return x.Line - y.Line })
	if a.json() {
		out := json.NewEncoder(a.out)
		out.SetEscapeHTML(false)
		for _, b := range bad {
			if err := out.Encode(b); err != nil {
				return err
			}
		}
		return statusError(exitRefused)
	}
	t := newTable(">LINE", "COLUMN", "VALUE", "WHAT WOULD BE RIGHT")
	for _, b := range bad {
		value := b.Value
		if value != "" {
			value = fmt.Sprintf("%q", value)
		}
		t.add(itoa(int64(b.Line)), b.Column, value, b.Want+" ["+b.Reason+"]")
	}
	t.write(a.out)
	fmt.Fprintf(a.err, "%s bad; nothing was recorded\n", map[bool]string{true: "1 line is", false: fmt.Sprintf("%d lines are", len(bad))}[len(bad) == 1])
	return statusError(exitRefused)
}

// record books the lines in, in their order.
func (im *importer) record(ctx context.Context, lines []importLine) error {
	told, end := im.progress("import")
	defer end()
	mg := int64(0)
	for i, l := range lines {
		lot, e, err := im.put(ctx, l.req)
		if err != nil {
			end()
			fmt.Fprintf(im.err, "stopped at line %d; the %d before it are recorded. Import the same file again, unchanged: what is recorded is not recorded twice.\n", l.number, i)
			return err
		}
		if all := e.GetWeighings(); len(all) > 0 {
			mg += all[len(all)-1].GetNet().GetMg()
		}
		if im.json() {
			if err := json.NewEncoder(im.out).Encode(map[string]any{"line": l.number, "lot": lot.GetName(), "entry": e.GetName()}); err != nil {
				return err
			}
		}
		if told != nil {
			told(&pb.Progress{Done: int64(i + 1), Total: int64(len(lines)), Unit: "lines"})
		}
	}
	if im.json() {
		return nil
	}
	return im.show(ctx, nil, func(p *page) {
		p.printf("%s in the book, %s in all.\n", plural(len(lines), "line"), p.weight(mg))
	})
}
