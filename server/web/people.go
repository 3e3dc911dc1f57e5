package web

import (
	"context"
	"io"
	"net/http"
	"time"

	pb "example.org/remelt/api/remelt/v1"
)

// peoplePage says who may sign in to the shop, what each may do, and what signs in
// for them.
type peoplePage struct {
	People []person
	Duties []duty
	Path   string // of them all in the API
	Open   bool   // nobody can sign in yet
}

type person struct {
	*pb.Person
	ID     string
	Says   string
	You    bool
	Tokens []token // that are good
	Over   []token
	Duties []choice // that they may pass on to a phone or a program
}

type token struct {
	*pb.Token
	Says string
}

// duty is what somebody may do, in the shop's words. Each may do what those before may.
type duty struct{ ID, Name, May string }

var dutyWords = []duty{
	{pb.Duty_DUTY_READ.String(), "read", "sees all of the book, prices and costs too, and writes nothing"},
	{pb.Duty_DUTY_WEIGH_IN.String(), "weigh in", "and weighs in, moves and counts metal; takes back what they booked themselves"},
	{pb.Duty_DUTY_RUN_HEATS.String(), "run heats", "and plans heats, charges, pours, settles; receives orders; corrects entries"},
	{pb.Duty_DUTY_MANAGE.String(), "manage", "and orders, quotes, money, settings, people"},
}

// dutyChoices are the duties up to one, to choose from; read is the first.
func dutyChoices(most pb.Duty) (out []choice) {
	for _, d := range dutyWords[:min(max(int(most), 0), len(dutyWords))] {
		out = append(out, choice{d.ID, d.Name})
	}
	return out
}

func dutyName(d pb.Duty) string {
	if i := int(d) - 1; i >= 0 && i < len(dutyWords) {
		return dutyWords[i].Name
	}
	return "nothing"
}

func (p *Pages) people(v *visit) (frame, error) {
	page := peoplePage{Duties: dutyWords, Path: "/v1/shops/" + v.ID + "/people", Open: v.Caller == nil}
	got, err := all(v.ctx, func(ctx context.Context, at string) ([]*pb.Person, string, error) {
		l, err := p.call.people.ListPeople(ctx, &pb.ListPeopleRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: at})
		return l.GetPeople(), l.GetNextPageToken(), err
	})
	if err != nil {
		return frame{}, err
	}
	for _, one := range got {
		x := person{Person: one, ID: last(one.GetName()), Says: personSays(v, one), Duties: dutyChoices(one.GetDuty())}
		x.You = v.Caller != nil && v.Caller.Person == x.ID
		tokens, err := all(v.ctx, func(ctx context.Context, at string) ([]*pb.Token, string, error) {
			l, err := p.call.people.ListTokens(ctx, &pb.ListTokensRequest{Parent: one.GetName(), PageSize: 500, PageToken: at})
			return l.GetTokens(), l.GetNextPageToken(), err
		})
		if err != nil {
			return frame{}, err
		}
		for _, t := range tokens {
			if says, good := tokenSays(v, t); good {
				x.Tokens = append(x.Tokens, token{t, says})
			} else {
				x.Over = append(x.Over, token{t, says})
			}
		}
		page.People = append(page.People, x)
	}
	return frame{Title: "People", Here: "settings", Main: page}, nil
}

// personSays is somebody in a line.
func personSays(v *visit, x *pb.Person) string {
	says := "may " + dutyName(x.GetDuty())
	switch {
	case x.GetDisabled():
		return "may not sign in any more"
	case x.GetPasswordTime() == nil:
		return says + ", has no password yet"
	}
	return says + ", password of " + v.Day(x.GetPasswordTime())
}

// tokenSays is what signs in for somebody in a line, and whether it is still good.
func tokenSays(v *visit, t *pb.Token) (says string, good bool) {
	kind := "program"
	if t.GetDevice() {
		kind = "phone or tablet"
	}
	kind += ", may " + dutyName(t.GetDuty())
	switch {
	case t.GetRevoked():
		return kind + ", ended", false
	case !t.GetExpireTime().AsTime().After(v.now):
		return kind + ", over since " + v.Day(t.GetExpireTime()), false
	}
	return kind + ", until " + v.Day(t.GetExpireTime()), true
}

// LastDay is the last day for which a token may be good, and UsualDay the one it is
// good for unless said, as a browser's field for days wants them.
func (v *visit) LastDay() string  { return v.now.In(v.zone).AddDate(1, 0, 0).Format(time.DateOnly) }
func (v *visit) UsualDay() string { return v.now.In(v.zone).AddDate(0, 0, 90).Format(time.DateOnly) }

// longestCode bounds what is drawn: links are much shorter.
const longestCode = 500

// drawCode answers a text as a QR code. The text comes in the body: a link with a code
// in it must be in no address and no log.
func (p *Pages) drawCode(w http.ResponseWriter, r *http.Request) {
	text, err := io.ReadAll(io.LimitReader(r.Body, longestCode+1))
	if err != nil || len(text) == 0 || len(text) > longestCode {
		http.Error(w, "a text of 1 to 500 bytes is drawn", http.StatusBadRequest)
		return
	}
	p.writeCode(w, r, string(text))
}
