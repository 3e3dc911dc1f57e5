package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) tokenCommand() *cobra.Command {
	return group("token", "What programs and devices sign in with: make, list, revoke",
		a.tokenMakeCommand(), a.tokenListCommand(), a.tokenRevokeCommand())
}

func (a *app) tokenMakeCommand() *cobra.Command {
	t := &pb.Token{}
	var may, until string
	c := &cobra.Command{Use: "make PERSON WHAT-FOR", Short: "Make a token for a program; its secret is shown once",
		Long: `Make a token for a program; its secret is shown once, and only its hash is kept.
The program sends it as Authorization: Bearer, this one takes it from REMELT_TOKEN.`,
		Example: "  remelt token make jo \"stock sheet\" --may read", Args: exactly("PERSON", "WHAT-FOR"), ValidArgsFunction: inOrder(a.completePeople(), nil)}
	w := writeFlags(c)
	c.Flags().StringVar(&may, "may", "read", "what it may do, no more than the person: read, weigh-in, run-heats, manage")
	c.Flags().StringVar(&until, "until", "", "until when it is good (90 days, unless said; a year at most)")
	noFiles(c, "until")
	complete(c, map[string]completer{"may": fixed(words[pb.Duty]()...)})
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		t.DisplayName = args[1]
		if t.Duty, err = readWord[pb.Duty]("--may", may); err != nil {
			return err
		}
		if t.ExpireTime, err = a.readTime(c.Context(), "--until", until, noon); err != nil {
			return err
		}
		r, err := send(c.Context(), a, w, cl.People.CreateToken, &pb.CreateTokenRequest{Parent: named(parent, "people", args[0]), Token: t})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			if s := r.GetToken().GetSecret(); s != "" {
				p.printf("Token %s, good until %s. Its secret is shown now and never again:\n\n  %s\n\n", last(r.GetToken().GetName()), p.showTime(r.GetToken().GetExpireTime()), s)
			}
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}

// tokensOf reads somebody's tokens, or everybody's.
func (a *app) tokensOf(ctx context.Context, cl *client.Client, parent, person string) (all []*pb.Token, err error) {
	people := []string{named(parent, "people", person)}
	if person == "" {
		people = nil
		if err := client.Pages(func(token string) (string, error) {
			r, err := cl.People.ListPeople(ctx, &pb.ListPeopleRequest{Parent: parent, PageSize: 1000, PageToken: token})
			for _, p := range r.GetPeople() {
				people = append(people, p.GetName())
			}
			return r.GetNextPageToken(), err
		}); err != nil {
			return nil, err
		}
	}
	for _, name := range people {
		if err := client.Pages(func(token string) (string, error) {
			r, err := cl.People.ListTokens(ctx, &pb.ListTokensRequest{Parent: name, PageSize: 1000, PageToken: token})
			all = append(all, r.GetTokens()...)
			return r.GetNextPageToken(), err
		}); err != nil {
			return nil, err
		}
	}
	return all, nil
}

func (a *app) tokenListCommand() *cobra.Command {
	return &cobra.Command{Use: "list [PERSON]", Short: "List tokens and devices, somebody's or all", Args: cobra.MaximumNArgs(1), ValidArgsFunction: inOrder(a.completePeople(), nil),
		RunE: func(c *cobra.Command, args []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			all, err := a.tokensOf(c.Context(), cl, parent, strings.Join(args, ""))
			if err != nil {
				return err
			}
			return showEach(c.Context(), a, all, func(p *page) {
				if len(all) == 0 {
					p.printf("None.\n")
					return
				}
				t := newTable("TOKEN", "PERSON", "FOR", "MAY", "UNTIL", "")
				for _, one := range all {
					note := ""
					switch {
					case one.GetRevoked():
						note = "revoked"
					case !one.GetExpireTime().AsTime().After(a.now()):
						note = "over"
					case one.GetDevice():
						note = "device"
					}
					t.add(last(one.GetName()), strings.Split(one.GetName(), "/")[3], one.GetDisplayName(), word(one.GetDuty()), p.showTime(one.GetExpireTime()), note)
				}
				t.write(p)
			})
		}}
}

func (a *app) tokenRevokeCommand() *cobra.Command {
	c := &cobra.Command{Use: "revoke TOKEN", Short: "End a token, or what a device may do, for good",
		Example: "  remelt token revoke 3 --reason \"the phone was lost\"", Args: exactly("TOKEN"), ValidArgsFunction: cobra.NoFileCompletions}
	w := writeFlags(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		all, err := a.tokensOf(c.Context(), cl, parent, "")
		if err != nil {
			return err
		}
		name := named(parent, "people", "-") + "/tokens/" + args[0] // of nobody, unless it is found
		for _, t := range all {
			if last(t.GetName()) == args[0] || t.GetName() == args[0] {
				name = t.GetName()
			}
		}
		r, err := send(c.Context(), a, w, cl.People.RevokeToken, &pb.RevokeTokenRequest{Name: name})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			p.printf("Token %s (%s) is no longer good.\n", last(r.GetToken().GetName()), r.GetToken().GetDisplayName())
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}
