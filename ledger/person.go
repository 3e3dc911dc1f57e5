package ledger

import (
	"context"
	"fmt"
	"strconv"
	"time"
)

// Kinds of record of those who may sign in, and of what programs and devices
// sign in with. What a sign-in is checked against is not in the book: see Secret.
const (
	RecPerson RecordKind = "person"
	RecToken  RecordKind = "token"
)

// Duty is what somebody may do in a shop. Each may do what those before may.
type Duty string

// Duties, the least first.
const (
	MayRead    Duty = "read"
	MayWeighIn Duty = "weigh-in"
	MayRun     Duty = "run-heats"
	MayManage  Duty = "manage" // money, orders, settings, people
)

var duties = []Duty{MayRead, MayWeighIn, MayRun, MayManage}

// Covers reports whether d is at least least; no duty covers nothing.
func (d Duty) Covers(least Duty) bool { return d.rank() > 0 && d.rank() >= least.rank() }

func (d Duty) rank() int {
	for i, known := range duties {
		if d == known {
			return i + 1
		}
	}
	return 0
}

func (d Duty) check(field string) error {
	if d.rank() == 0 {
		return invalid("BAD_DUTY", field, string(d), "must be read, weigh-in, run-heats or manage")
	}
	return nil
}

// Person is somebody who may sign in.
type Person struct {
	ID       string    `json:"id"`
	Name     string    `json:"name"`
	Duty     Duty      `json:"duty"`
	Disabled bool      `json:"disabled,omitempty"`
	Password time.Time `json:"password_set,omitzero"` // when; what it is nobody knows. Sessions from before are over
}

// Manages reports whether somebody can sign in as p and manage the shop.
func (p Person) Manages() bool { return p.Duty == MayManage && !p.Disabled && !p.Password.IsZero() }

// Token is what a program signs in with, or a device that was paired.
type Token struct {
	ID      string    `json:"id"`
	Person  string    `json:"person"` // who answers for it
	Name    string    `json:"name"`   // what it is for, or the device
	Duty    Duty      `json:"duty"`   // no more than its person's
	Device  bool      `json:"device,omitempty"`
	Expires time.Time `json:"expires"`
	Revoked bool      `json:"revoked,omitempty"`
}

// How long a token is good for, and may be.
const (
	UsualToken   = 90 * 24 * time.Hour
	LongestToken = 366 * 24 * time.Hour
)

// SetPerson adds or changes somebody who may sign in.
func (b *Book) SetPerson(ctx context.Context, m Meta, p Person) (*Entry, error) {
	return b.setUp(ctx, m, p, func(d *draft) error {
		p := p
		if err := needText("display_name", p.Name, maxName); err != nil {
			return err
		}
		if err := p.Duty.check("duty"); err != nil {
			return err
		}
		var was Person
		if _, err := d.get(RecPerson, p.ID, &was); err != nil {
			return err
		}
		p.Password = was.Password
		if was.Manages() && !p.Manages() {
			if another, err := somebodyManages(d, p.ID); err != nil {
				return err
			} else if !another {
				return badState("LAST_MANAGER", "person", p.ID, "nobody else can manage this shop; let another manager set a password first")
			}
		}
		return d.put(RecPerson, p.ID, "", p)
	})
}

// somebodyManages reports whether somebody but one can sign in and manage the shop.
func somebodyManages(r Reader, but string) (bool, error) {
	for after := ""; ; {
		some, err := r.Records(RecPerson, "", after, MaxPage)
		if err != nil {
			return false, err
		}
		for _, rec := range some {
			var p Person
			if err := rec.Into(&p); err != nil {
				return false, err
			}
			if p.ID != but && p.Manages() {
				return true, nil
			}
			after = rec.ID
		}
		if len(some) < MaxPage {
			return false, nil
		}
	}
}

// HasPeople reports whether somebody can sign in and manage the shop. Once
// somebody can, somebody always can.
func (b *Book) HasPeople(ctx context.Context) (yes bool, err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) error {
		yes, err = somebodyManages(r, "")
		return err
	})
	return yes, err
}

// NotePassword records that somebody has set a password, at that very moment:
// what they signed in with before is no longer good.
func (b *Book) NotePassword(ctx context.Context, m Meta, person string) (*Entry, error) {
	return b.setUp(ctx, m, struct{ NotePassword string }{person}, func(d *draft) error {
		var p Person
		if err := d.must(RecPerson, "person", person, &p); err != nil {
			return err
		}
		p.Password = d.now
		return d.put(RecPerson, p.ID, "", p)
	})
}

// MakeOwner records the first person of a shop, with the password they have just
// set: they manage it.
func (b *Book) MakeOwner(ctx context.Context, m Meta, id, name string) (*Entry, error) {
	return b.setUp(ctx, m, struct{ Owner, Name string }{id, name}, func(d *draft) error {
		if err := needText("display_name", name, maxName); err != nil {
			return err
		}
		if yes, err := somebodyManages(d, ""); err != nil {
			return err
		} else if yes {
			return badState("HAS_OWNER", "person", id, "somebody can manage this shop already; ask them")
		}
		return d.put(RecPerson, id, "", Person{ID: id, Name: name, Duty: MayManage, Password: d.now})
	})
}

// Invite records that somebody is asked to set a password.
func (b *Book) Invite(ctx context.Context, m Meta, person string) (*Entry, error) {
	return b.setUp(ctx, m, struct{ Invite string }{person}, func(d *draft) error {
		p, err := d.enabled(person)
		if err != nil {
			return err
		}
		return d.put(RecPerson, p.ID, "", p)
	})
}

func (d *draft) enabled(person string) (p Person, err error) {
	if err := d.must(RecPerson, "person", person, &p); err != nil {
		return p, err
	}
	if p.Disabled {
		return p, badState("PERSON_DISABLED", "person", person, "may not sign in any more")
	}
	return p, nil
}

// AddToken gives a program or a device of somebody's something to sign in with.
// Its id is the next number. It is good for UsualToken unless t says until when.
func (b *Book) AddToken(ctx context.Context, m Meta, asked Token) (*Entry, error) {
	return b.setUp(ctx, m, asked, func(d *draft) error {
		t := asked
		if t.Expires.IsZero() {
			t.Expires = d.now.Add(UsualToken)
		}
		p, err := d.enabled(t.Person)
		if err != nil {
			return err
		}
		if err := needText("display_name", t.Name, maxName); err != nil {
			return err
		}
		if err := t.Duty.check("duty"); err != nil {
			return err
		}
		if !p.Duty.Covers(t.Duty) {
			return invalid("TOO_HIGH", "duty", string(t.Duty), fmt.Sprintf("must be no more than what %s may do: %s", p.ID, p.Duty))
		}
		if !t.Expires.After(d.now) || t.Expires.Sub(d.now) > LongestToken {
			return invalid("BAD_EXPIRY", "expire_time", t.Expires.Format(time.RFC3339), "must lie ahead, by no more than a year")
		}
		t.Expires = t.Expires.UTC().Truncate(time.Second)
		if t.ID, err = d.fresh(RecToken, "", func(n int64) string { return strconv.FormatInt(n, 10) }); err != nil {
			return err
		}
		return d.put(RecToken, t.ID, "person/"+t.Person, t)
	})
}

// RevokeToken ends a token before its time. It is final.
func (b *Book) RevokeToken(ctx context.Context, m Meta, id string) (*Entry, error) {
	return b.setUp(ctx, m, struct{ Revoke string }{id}, func(d *draft) error {
		var t Token
		if err := d.must(RecToken, "token", id, &t); err != nil {
			return err
		}
		if t.Revoked {
			return badState("ALREADY_REVOKED", "token", id, "is revoked already")
		}
		t.Revoked = true
		return d.put(RecToken, id, "person/"+t.Person, t)
	})
}
