package main

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) personCommand() *cobra.Command {
	return group("person", "Links with which people set a password, codes with which their devices sign in",
		a.personInviteCommand(), a.personPairCommand())
}

func (a *app) setPersonCommand() *cobra.Command {
	s := &pb.Person{}
	var may string
	c := &cobra.Command{Use: "person ID [NAME]", Short: "Somebody who may sign in, and what they may do",
		Long: `Somebody who may sign in, and what they may do:

  read       read the book
  weigh-in   that, and weigh metal in, move it, count it
  run-heats  that, and plan heats, charge, pour, settle them, correct entries
  manage     that, and money, orders, settings, people`,
		Example:           "  remelt set person jo \"Jo Marsh\" --may run-heats\n  remelt set person jo --disabled",
		ValidArgsFunction: inOrder(a.completePeople(), nil)}
	w := writeFlags(c)
	c.Flags().StringVar(&may, "may", "", "what they may do: read, weigh-in, run-heats, manage")
	c.Flags().BoolVar(&s.Disabled, "disabled", false, "they may not sign in any more; --disabled=false lets them in again")
	complete(c, map[string]completer{"may": fixed(words[pb.Duty]()...)})
	return a.setThing(c, w, map[string]string{"may": "duty", "disabled": "disabled"}, func(c *cobra.Command, cl *client.Client, parent, id, name string, mask *fieldmaskpb.FieldMask) (_ entryAnswer, err error) {
		s.Name, s.DisplayName = named(parent, "people", id), name
		if s.Duty, err = readWord[pb.Duty]("--may", may); err != nil {
			return nil, err
		}
		return send(c.Context(), a, w, cl.People.UpdatePerson, &pb.UpdatePersonRequest{AllowMissing: true, UpdateMask: mask, Person: s})
	})
}

func (a *app) listPeopleCommand() *cobra.Command {
	return listOf(a, "people", "People who may sign in", []string{"PERSON", "NAME", "MAY", "PASSWORD SET", ""},
		func(ctx context.Context, c *client.Client, parent, token string) ([]*pb.Person, string, error) {
			r, err := c.People.ListPeople(ctx, &pb.ListPeopleRequest{Parent: parent, PageSize: 1000, PageToken: token})
			return r.GetPeople(), r.GetNextPageToken(), err
		}, func(p *page, s *pb.Person) []string {
			note := ""
			if s.GetDisabled() {
				note = "may not sign in"
			}
			return []string{last(s.GetName()), s.GetDisplayName(), word(s.GetDuty()), p.showTime(s.GetPasswordTime()), note}
		})
}

func (a *app) personInviteCommand() *cobra.Command {
	c := &cobra.Command{Use: "invite PERSON", Short: "Make a link with which they set a password, once, within a day",
		Example: "  remelt person invite jo", Args: exactly("PERSON"), ValidArgsFunction: a.completePeople()}
	w := writeFlags(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := send(c.Context(), a, w, cl.People.InvitePerson, &pb.InvitePersonRequest{Name: named(parent, "people", args[0])})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			if r.GetUri() != "" {
				p.printf("Give this link to %s and nobody else; it works once, until %s:\n\n  %s\n\n", r.GetPerson().GetDisplayName(), p.showTime(r.GetExpireTime()), r.GetUri())
				a.drawCode(p, r.GetUri())
			}
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}

func (a *app) personPairCommand() *cobra.Command {
	r := &pb.PairDeviceRequest{}
	var may, until string
	c := &cobra.Command{Use: "pair PERSON DEVICE", Short: "Make a short code with which a phone of the shop floor signs in, once, within ten minutes",
		Long: `Make a short code with which a phone of the shop floor signs in, once, within ten
minutes. What is put in the book there is put in by this person, on this device. A
device that is lost is ended with remelt token revoke.`,
		Example: "  remelt person pair jo \"phone by the floor scale\"", Args: exactly("PERSON", "DEVICE"), ValidArgsFunction: inOrder(a.completePeople(), nil)}
	w := writeFlags(c)
	c.Flags().StringVar(&may, "may", "weigh-in", "what it may do: read, weigh-in, run-heats, manage")
	c.Flags().StringVar(&until, "until", "", "until when it may (90 days, unless said)")
	noFiles(c, "until")
	complete(c, map[string]completer{"may": fixed(words[pb.Duty]()...)})
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r.Name, r.DisplayName = named(parent, "people", args[0]), args[1]
		if r.Duty, err = readWord[pb.Duty]("--may", may); err != nil {
			return err
		}
		if r.ExpireTime, err = a.readTime(c.Context(), "--until", until, noon); err != nil {
			return err
		}
		got, err := send(c.Context(), a, w, cl.People.PairDevice, r)
		if err != nil {
			return err
		}
		return a.show(c.Context(), got, func(p *page) {
			if got.GetCode() != "" {
				p.printf("On the device open this page, or scan it, and type the code; until %s:\n\n  %s\n  code %s\n\n", p.showTime(got.GetCodeExpireTime()), got.GetUri(), p.strong(got.GetCode()))
				a.drawCode(p, got.GetUri())
			}
			p.recorded(w, got.GetEntry())
		})
	}
	return c
}

func (a *app) completePeople() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.People.ListPeople(ctx, &pb.ListPeopleRequest{Parent: parent, PageSize: 1000})
		for _, p := range r.GetPeople() {
			out = append(out, [2]string{p.GetName(), p.GetDisplayName()})
		}
		return out, err
	})
}
