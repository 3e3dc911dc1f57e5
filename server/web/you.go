package web

import (
	"net/http"

	"google.golang.org/protobuf/types/known/timestamppb"

	"example.org/remelt/ledger"
	"example.org/remelt/server/signin"
)

// youPage is what somebody who is signed in may do here, and where else they are
// signed in.
type youPage struct {
	May      []duty
	Sessions []session // none of a phone that was paired, or of a program
}

type session struct {
	Since, Until *timestamppb.Timestamp
	This         bool
}

func (p *Pages) you(v *visit) (frame, error) {
	f := frame{Title: "You"}
	page := youPage{May: dutyWords}
	if v.Caller != nil {
		f.Title = v.Caller.Name
		page.May = dutyWords[:1]
		for i, d := range []ledger.Duty{ledger.MayWeighIn, ledger.MayRun, ledger.MayManage} {
			if v.Caller.Duty.Covers(d) {
				page.May = dutyWords[:i+2]
			}
		}
	}
	if c, err := v.r.Cookie(signin.CookieName(p.cfg.Secure)); err == nil && v.Caller != nil {
		mine, err := p.cfg.Door.Sessions(v.ctx, c.Value)
		if err != nil {
			return frame{}, err
		}
		for _, s := range mine {
			page.Sessions = append(page.Sessions, session{timestamppb.New(s.Since), timestamppb.New(s.Until), s.This})
		}
	}
	f.Main = page
	return f, nil
}

// signOutEverywhere ends all that somebody signed in with a password, here and elsewhere.
func (p *Pages) signOutEverywhere(w http.ResponseWriter, r *http.Request) {
	if c, err := r.Cookie(signin.CookieName(p.cfg.Secure)); err == nil {
		if err := p.cfg.Door.SignOutEverywhere(r.Context(), c.Value); err != nil {
			p.failed(w, r, nil, err)
			return
		}
	}
	http.SetCookie(w, signin.NoCookie(p.cfg.Secure))
	p.toSignIn(w, r)
}
