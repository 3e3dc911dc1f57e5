package web

import (
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"example.org/remelt/ledger"
	"example.org/remelt/server/signin"
)

// entering is what the pages by which people come in show.
type entering struct {
	Shop   string
	Person string
	Next   string
	Code   string
	Owner  bool   // the invitation is for the first person of the shop
	Fault  string // what was wrong with what was typed
	Reason string
}

func (p *Pages) enterRoutes(mux Router) {
	mux.HandleFunc("GET /sign-in", p.askSignIn)
	mux.HandleFunc("POST /sign-in", p.signIn)
	mux.HandleFunc("POST /sign-out", p.signOut)
	mux.HandleFunc("POST /sign-out-everywhere", p.signOutEverywhere)
	mux.HandleFunc("GET /shops/{shop}/join", p.enterPage("join.html", "Set your password"))
	mux.HandleFunc("POST /shops/{shop}/join", p.join)
	mux.HandleFunc("GET /shops/{shop}/pair", p.enterPage("pair.html", "Sign this device in"))
	mux.HandleFunc("POST /shops/{shop}/pair", p.pair)
}

// Refuse answers for a page that whoever asks may not see: who is not known is
// asked to sign in.
func (p *Pages) Refuse(w http.ResponseWriter, r *http.Request, err error) {
	if !errors.Is(err, ledger.ErrSignIn) {
		p.failed(w, r, nil, err)
		return
	}
	p.toSignIn(w, r)
}

func (p *Pages) toSignIn(w http.ResponseWriter, r *http.Request) {
	q := url.Values{}
	if id := r.PathValue("shop"); id != "" {
		q.Set("shop", id)
	}
	if r.Method == http.MethodGet && r.URL.Path != "/" && !strings.HasSuffix(r.URL.Path, "/live") {
		q.Set("next", r.URL.RequestURI())
	}
	http.Redirect(w, r, "/sign-in?"+q.Encode(), http.StatusSeeOther)
}

// failed is fail for an error of the domain that no call carried.
func (p *Pages) failed(w http.ResponseWriter, r *http.Request, v *visit, err error) {
	var e *ledger.Error
	if !errors.As(err, &e) {
		p.fail(w, r, v, err)
		return
	}
	code, title := http.StatusForbidden, "You may not do this"
	if errors.Is(err, ledger.ErrNotFound) {
		code, title = http.StatusNotFound, "There is nothing of this name"
	}
	p.write(w, code, "refused.html", frame{Title: title, Visit: v, Main: refused{Code: code, Message: e.Error(), Reason: e.Reason, Field: e.Field}})
}

func (p *Pages) askSignIn(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	p.write(w, http.StatusOK, "sign-in.html", frame{Title: "Sign in", Main: entering{Shop: q.Get("shop"), Next: q.Get("next")}})
}

func (p *Pages) signIn(w http.ResponseWriter, r *http.Request) {
	e := entering{Shop: r.PostFormValue("shop"), Person: r.PostFormValue("person"), Next: r.PostFormValue("next")}
	credential, err := p.cfg.Door.SignIn(r.Context(), p.address(r), e.Shop, e.Person, r.PostFormValue("password"))
	if err != nil {
		p.entryFault(w, r, "sign-in.html", "Sign in", e, err)
		return
	}
	p.letIn(w, r, credential, e.Next, signin.SessionTime)
}

func (p *Pages) signOut(w http.ResponseWriter, r *http.Request) {
	if c, err := r.Cookie(signin.CookieName(p.cfg.Secure)); err == nil {
		if err := p.cfg.Door.SignOut(r.Context(), c.Value); err != nil {
			p.fail(w, r, nil, err)
			return
		}
	}
	http.SetCookie(w, signin.NoCookie(p.cfg.Secure))
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
}

// enterPage asks for a code. A browser keeps what is after # to itself, so the
// page's script puts the code of a link into the form.
func (p *Pages) enterPage(name, title string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		p.write(w, http.StatusOK, name, frame{Title: title, Main: entering{Shop: r.PathValue("shop")}})
	}
}

// join takes an invitation: first its code, then, told for whom it is, a password.
func (p *Pages) join(w http.ResponseWriter, r *http.Request) {
	const name, title = "join.html", "Set your password"
	e := entering{Shop: r.PathValue("shop"), Code: r.PostFormValue("code")}
	person, err := p.cfg.Door.Invited(r.Context(), p.address(r), e.Shop, e.Code)
	if err != nil {
		e.Code = ""
		p.entryFault(w, r, name, title, e, err)
		return
	}
	e.Person, e.Owner = person, person == ""
	password := r.PostFormValue("password")
	if !r.PostForm.Has("password") {
		p.write(w, http.StatusOK, name, frame{Title: title, Main: e})
		return
	}
	if e.Owner {
		e.Person = r.PostFormValue("person")
	}
	if password != r.PostFormValue("again") {
		p.entryFault(w, r, name, title, e, &ledger.Error{Class: ledger.ErrInvalid, Reason: "NOT_THE_SAME", Field: "password", Want: "must be the same both times"})
		return
	}
	credential, err := p.cfg.Door.Join(r.Context(), p.address(r), e.Shop, e.Code, e.Person, r.PostFormValue("display_name"), password)
	if err != nil {
		p.entryFault(w, r, name, title, e, err)
		return
	}
	p.letIn(w, r, credential, "/shops/"+e.Shop, signin.SessionTime)
}

func (p *Pages) pair(w http.ResponseWriter, r *http.Request) {
	e := entering{Shop: r.PathValue("shop")}
	credential, err := p.cfg.Door.Device(r.Context(), p.address(r), e.Shop, r.PostFormValue("code"))
	if err != nil {
		p.entryFault(w, r, "pair.html", "Sign this device in", e, err)
		return
	}
	p.letIn(w, r, credential, "/shops/"+e.Shop+"/weigh-in", ledger.LongestToken)
}

// inHere reports whether an address leads to a page of this site. Browsers leave some
// characters out and take others for a slash: what stands behind them may be the name of
// another site.
func inHere(next string) bool {
	return strings.HasPrefix(next, "/") && !strings.HasPrefix(next, "//") &&
		!strings.ContainsFunc(next, func(r rune) bool { return r == '\\' || r <= ' ' || r == 0x7f })
}

// letIn gives a browser its credential and sends it on.
func (p *Pages) letIn(w http.ResponseWriter, r *http.Request, credential, next string, good time.Duration) {
	http.SetCookie(w, signin.NewCookie(p.cfg.Secure, credential, int(good.Seconds())))
	if !inHere(next) {
		next = "/"
	}
	http.Redirect(w, r, next, http.StatusSeeOther)
}

// entryFault shows the form again with what was wrong.
func (p *Pages) entryFault(w http.ResponseWriter, r *http.Request, name, title string, e entering, err error) {
	var known *ledger.Error
	if !errors.As(err, &known) || errors.Is(err, ledger.ErrUnavailable) || errors.Is(err, ledger.ErrCorrupt) {
		p.cfg.Log.ErrorContext(r.Context(), "sign-in failed", "path", r.URL.Path, "error", err.Error())
		p.fail(w, r, nil, status.Error(codes.Unavailable, "the book cannot be reached now; try again"))
		return
	}
	code := http.StatusForbidden
	switch {
	case errors.Is(err, ledger.ErrTooMany):
		code = http.StatusTooManyRequests
		w.Header().Set("Retry-After", strconv.Itoa(int(known.After.Seconds())))
	case errors.Is(err, ledger.ErrInvalid):
		code = http.StatusBadRequest
	case errors.Is(err, ledger.ErrState):
		code = http.StatusConflict
	}
	e.Fault, e.Reason = known.Error(), known.Reason
	p.write(w, code, name, frame{Title: title, Main: e})
}

// address is where a request came from.
func (p *Pages) address(r *http.Request) string { return p.cfg.Address(r) }
