package main

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
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
nothing is recorded. A real run does not begin when any line is bad. Up to 1000 lines
are recorded together, all or none; a longer file goes in parts. Each line has a
request id made of the file's content and its number: the same file imported again,
also after it was interrupted, goes on where it was and records nothing twice.
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
			return usagef("--request-id is for one write; an import makes them of the content of the file")
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
	sum := sha256.Sum256(raw)
	im := &importer{app: a, client: cl, parent: parent, write: w, assumed: as, made: map[string]importLine{}, ids: uuid.NewSHA1(importSpace, sum[:])}
	bad := slices.Clone(s.bad)
	var lines []importLine
	for _, l := range s.lines {
		line, err := im.line(ctx, l)
		switch {
		case err != nil && (unanswered(err) || ctx.Err() != nil):
			return err
		case err != nil:
			bad = append(bad, badLineOf(l, err))
		default:
			lines = append(lines, line)
		}
	}
	calls := inCalls(lines)
	checked := w.dryRun || len(bad) > 0 || len(calls) > 1
	if checked {
		wrong, err := im.check(ctx, calls, len(bad) == 0)
		if err != nil {
			return err
		}
		bad = append(bad, wrong...)
	}
	if !a.json() {
		fmt.Fprintf(a.out, "%s: %s\n", file, s.describe())
	}
	switch {
	case len(bad) > 0:
		return a.listBad(bad)
	case w.dryRun && a.json():
		return nil
	case w.dryRun:
		fmt.Fprintf(a.out, "Dry run: every line is good, nothing was recorded.\n")
		return nil
	}
	err = im.record(ctx, calls)
	if wrong, _ := wrongRows(err, lines); !checked && len(wrong) > 0 { // it was one call, and nothing is recorded
		if hasUnsaid(err) {
			if wrong, err = im.check(ctx, calls, false); err != nil {
				return err
			}
		}
		return a.listBad(wrong)
	}
	return err
}

// inCalls deals lines out to calls: not too many rows, nor too many bytes, for one.
func inCalls(lines []importLine) (calls [][]importLine) {
	bytes := 0
	for i, l := range lines {
		size := proto.Size(l.row)
		if n := len(calls) - 1; n < 0 || len(calls[n]) == ledger.MaxRows || bytes+size > mostBytes {
			calls, bytes = append(calls, nil), 0
		}
		n := len(calls) - 1
		calls[n] = append(calls[n], lines[i])
		bytes += size
	}
	return calls
}

// mostBytes is how large the rows of a call may be; the server takes 4 MiB.
const mostBytes = 2 << 20

// send sends a call's rows, with the request id of their first line unless they are
// others than those of the file.
func (im *importer) send(ctx context.Context, lines []importLine, dry, asFile bool) (*pb.ImportLotsResponse, error) {
	once := *im.write
	once.dryRun, once.requestID = dry, ""
	if asFile {
		once.requestID = uuid.NewSHA1(im.ids, fmt.Append(nil, lines[0].number)).String()
	}
	req := &pb.ImportLotsRequest{Parent: im.parent}
	for _, l := range lines {
		req.Rows = append(req.Rows, l.row)
	}
	return send(ctx, im.app, &once, im.client.Lots.ImportLots, req)
}

// check asks about all lines and records nothing.
func (im *importer) check(ctx context.Context, calls [][]importLine, asFile bool) (bad []badLine, err error) {
	told, end := im.progress("check")
	defer end()
	done, total := int64(0), int64(0)
	for _, lines := range calls {
		total += int64(len(lines))
	}
	for _, lines := range calls {
		wrong, err := im.checkCall(ctx, lines, asFile)
		if err != nil {
			return nil, err
		}
		bad = append(bad, wrong...)
		if done += int64(len(lines)); told != nil {
			told(&pb.Progress{Done: done, Total: total, Unit: "lines"})
		}
	}
	return bad, nil
}

// checkCall asks about the lines of a call. Some may add to lots that lines of an
// earlier call make: when these are not there yet, they are checked as lots of their own.
// What a refusal does not name, because there is too much of it, is asked about again
// without what it names.
func (im *importer) checkCall(ctx context.Context, lines []importLine, asFile bool) (bad []badLine, err error) {
	alone := slices.Clone(lines)
	leans := false
	for i, l := range lines {
		if l.from > 0 && l.from < lines[0].number {
			alone[i].row, leans = l.alone, true
		}
	}
	if leans {
		_, err := im.send(ctx, lines, true, asFile)
		if err == nil {
			return nil, nil
		}
		lines, asFile = alone, false
	}
	for len(lines) > 0 {
		_, err := im.send(ctx, lines, true, asFile)
		if err == nil {
			return bad, nil
		}
		wrong, left := wrongRows(err, lines)
		if len(wrong) == 0 {
			return nil, err
		}
		bad = append(bad, wrong...)
		if len(left) == len(lines) || !hasUnsaid(err) {
			return bad, nil
		}
		lines, asFile = left, false
	}
	return bad, nil
}

func hasUnsaid(err error) bool {
	var refused *ledger.Error
	return errors.As(err, &refused) && refused.Unsaid > 0
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
func (im *importer) record(ctx context.Context, calls [][]importLine) error {
	told, end := im.progress("import")
	defer end()
	mg, n, total := int64(0), 0, 0
	for _, lines := range calls {
		total += len(lines)
	}
	for _, lines := range calls {
		r, err := im.send(ctx, lines, false, true)
		if err != nil {
			end()
			if wrong, _ := wrongRows(err, lines); len(calls) > 1 || len(wrong) == 0 {
				fmt.Fprintf(im.err, "stopped at line %d; the %d before it are recorded. Import the same file again, unchanged: what is recorded is not recorded twice.\n", lines[0].number, n)
			}
			return err
		}
		for i, row := range r.GetRows() {
			mg += row.GetNet().GetMg()
			if im.json() {
				if err := json.NewEncoder(im.out).Encode(map[string]any{"line": lines[i].number, "lot": row.GetLot(), "entry": row.GetEntry()}); err != nil {
					return err
				}
			}
		}
		if n += len(lines); told != nil {
			told(&pb.Progress{Done: int64(n), Total: int64(total), Unit: "lines"})
		}
	}
	if im.json() {
		return nil
	}
	return im.show(ctx, nil, func(p *page) {
		p.printf("%s in the book, %s in all.\n", plural(n, "line"), p.weight(mg))
	})
}
