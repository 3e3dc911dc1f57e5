package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/server/paper"
)

// Completion asks the server for the ids that fit. It must never make a shell
// wait: it tries once, for a moment, and offers nothing when there is no answer.
const completionTime = 1500 * time.Millisecond

// mostOffered is how many ids are read to choose from, about.
const mostOffered = 1000

type completer = cobra.CompletionFunc

// offer makes a completion of what list gives: ids, each with a word about it.
func (a *app) offer(list func(ctx context.Context, c *client.Client, parent string) ([][2]string, error)) completer {
	return func(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
		a.patch = func(cfg *client.Config) { cfg.Tries, cfg.Timeout, cfg.OnRetry = 1, completionTime, nil }
		ctx, cancel := context.WithTimeout(context.Background(), completionTime)
		defer cancel()
		c, parent, err := a.begin(ctx)
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		all, err := list(ctx, c, parent)
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		var out []string
		for _, one := range all {
			if id := last(one[0]); strings.HasPrefix(strings.ToLower(id), strings.ToLower(typed)) {
				out = append(out, cobra.CompletionWithDesc(id, one[1]))
			}
		}
		return out, cobra.ShellCompDirectiveNoFileComp
	}
}

// unlessEnough goes on to the next page of a list, pages of which may be short, until
// there is enough to choose from.
func unlessEnough(n int, next string) string {
	if n >= mostOffered {
		return ""
	}
	return next
}

func (a *app) completeLots() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		err = client.Pages(func(token string) (string, error) {
			r, err := c.Lots.ListLots(ctx, &pb.ListLotsRequest{Parent: parent, PageSize: mostOffered, PageToken: token})
			for _, l := range r.GetLots() {
				out = append(out, [2]string{l.GetName(), strings.TrimSpace(last(l.GetAlloy()) + " " + word(l.GetForm()) + " " + l.GetMass().GetText() + " " + last(l.GetPlace()))})
			}
			return unlessEnough(len(out), r.GetNextPageToken()), err
		})
		return out, err
	})
}

func (a *app) completeHeats() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.Heats.ListHeats(ctx, &pb.ListHeatsRequest{Parent: parent, PageSize: mostOffered})
		for _, h := range r.GetHeats() {
			out = append(out, [2]string{h.GetName(), last(h.GetAlloy()) + " " + paper.HeatState(h)})
		}
		return out, err
	})
}

func (a *app) completeAlloys() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.Alloys.ListAlloys(ctx, &pb.ListAlloysRequest{Parent: parent, PageSize: mostOffered})
		for _, l := range r.GetAlloys() {
			out = append(out, [2]string{l.GetName(), l.GetFamily()})
		}
		return out, err
	})
}

func (a *app) completePlaces() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.Places.ListPlaces(ctx, &pb.ListPlacesRequest{Parent: parent, PageSize: mostOffered})
		for _, p := range r.GetPlaces() {
			out = append(out, [2]string{p.GetName(), p.GetDisplayName()})
		}
		return out, err
	})
}

func (a *app) completeScales() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.Scales.ListScales(ctx, &pb.ListScalesRequest{Parent: parent, PageSize: mostOffered})
		for _, s := range r.GetScales() {
			out = append(out, [2]string{s.GetName(), s.GetDisplayName()})
		}
		return out, err
	})
}

func (a *app) completeTares() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.Tares.ListTares(ctx, &pb.ListTaresRequest{Parent: parent, PageSize: mostOffered})
		for _, t := range r.GetTares() {
			out = append(out, [2]string{t.GetName(), t.GetDisplayName() + " " + t.GetMass().GetText()})
		}
		return out, err
	})
}

func (a *app) completeParties() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.Parties.ListParties(ctx, &pb.ListPartiesRequest{Parent: parent, PageSize: mostOffered})
		for _, p := range r.GetParties() {
			out = append(out, [2]string{p.GetName(), p.GetDisplayName()})
		}
		return out, err
	})
}

func (a *app) completePots() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.Pots.ListPots(ctx, &pb.ListPotsRequest{Parent: parent, PageSize: mostOffered})
		for _, p := range r.GetPots() {
			out = append(out, [2]string{p.GetName(), word(p.GetKind()) + " " + p.GetDisplayName()})
		}
		return out, err
	})
}

func (a *app) completeSupplies() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.Supplies.ListSupplies(ctx, &pb.ListSuppliesRequest{Parent: parent, PageSize: mostOffered})
		for _, s := range r.GetSupplies() {
			out = append(out, [2]string{s.GetName(), s.GetDisplayName()})
		}
		return out, err
	})
}

func (a *app) completeCastings() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		err = client.Pages(func(token string) (string, error) {
			r, err := c.Castings.ListCastings(ctx, &pb.ListCastingsRequest{Parent: parent, PageSize: mostOffered, PageToken: token})
			for _, k := range r.GetCastings() {
				out = append(out, [2]string{k.GetName(), k.GetDisplayName()})
			}
			return unlessEnough(len(out), r.GetNextPageToken()), err
		})
		return out, err
	})
}

// completeShops works before the shop is known.
func (a *app) completeShops(_ *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
	a.patch = func(cfg *client.Config) { cfg.Tries, cfg.Timeout, cfg.OnRetry = 1, completionTime, nil }
	ctx, cancel := context.WithTimeout(context.Background(), completionTime)
	defer cancel()
	c, err := a.dial()
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	r, err := c.Shops.ListShops(ctx, &pb.ListShopsRequest{})
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var out []string
	for _, s := range r.GetShops() {
		out = append(out, cobra.CompletionWithDesc(last(s.GetName()), s.GetDisplayName()))
	}
	return out, cobra.ShellCompDirectiveNoFileComp
}

// inOrder completes the first argument with the first function, the second with
// the second, and all further ones with the last.
func inOrder(fs ...completer) completer {
	return func(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
		f := fs[min(len(args), len(fs)-1)]
		if f == nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return f(c, args, typed)
	}
}

// fixed completes with words that are always the same.
func fixed(all ...string) completer {
	return cobra.FixedCompletions(all, cobra.ShellCompDirectiveNoFileComp)
}

// noFiles says of flags that their values are not files.
func noFiles(c *cobra.Command, flags ...string) {
	for _, f := range flags {
		must(c.RegisterFlagCompletionFunc(f, cobra.NoFileCompletions))
	}
}

// complete registers completions of flags by their names.
func complete(c *cobra.Command, of map[string]completer) {
	for flag, f := range of {
		must(c.RegisterFlagCompletionFunc(flag, f))
	}
}
