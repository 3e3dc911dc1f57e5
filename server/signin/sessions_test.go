package signin

import (
	"testing"
	"time"

	"example.org/remelt/ledger"
)

// Somebody sees where they are signed in, only what is still good and only their own,
// and ends all of it at once; what others and devices signed in with stays.
func TestSignOutEverywhere(t *testing.T) {
	h := newHouse(t)
	first := h.owner()
	in := func() string {
		h.clock = h.clock.Add(time.Hour)
		credential, err := h.SignIn(t.Context(), "192.0.2.7", "harrow", "mo", pass)
		if err != nil {
			t.Fatal(err)
		}
		return credential
	}
	second := in()
	last := in()
	if _, err := h.book("harrow").SetPerson(t.Context(), ledger.Meta{}, ledger.Person{ID: "jo", Name: "Jo", Duty: ledger.MayRead}); err != nil {
		t.Fatal(err)
	}
	code, err := h.Invite(t.Context(), "harrow", "jo")
	if err != nil {
		t.Fatal(err)
	}
	other, err := h.Join(t.Context(), "192.0.2.1", "harrow", code.Code, "", "", pass)
	if err != nil {
		t.Fatal(err)
	}
	e, err := h.book("harrow").AddToken(t.Context(), ledger.Meta{}, ledger.Token{Person: "mo", Name: "phone", Duty: ledger.MayWeighIn, Device: true})
	if err != nil {
		t.Fatal(err)
	}
	if code, err = h.Pair(t.Context(), "harrow", e.Records[0].ID); err != nil {
		t.Fatal(err)
	}
	device, err := h.Device(t.Context(), "192.0.2.1", "harrow", code.Code)
	if err != nil {
		t.Fatal(err)
	}
	mine, err := h.Sessions(t.Context(), second)
	if err != nil || len(mine) != 3 || !mine[1].This || mine[0].This || !mine[0].Since.Equal(h.clock) || mine[2].Until.Sub(mine[2].Since) != SessionTime {
		t.Fatalf("%+v, %v", mine, err)
	}
	if none, err := h.Sessions(t.Context(), device); err != nil || len(none) != 0 {
		t.Errorf("a device sees %v, %v", none, err)
	}
	if err := h.SignOutEverywhere(t.Context(), second); err != nil {
		t.Fatal(err)
	}
	for _, over := range []string{first, second, last} {
		if _, err := h.Identify(t.Context(), over); reason(err) != "BAD_CREDENTIAL" {
			t.Errorf("still good: %v", err)
		}
	}
	for _, good := range []string{other, device} {
		if _, err := h.Identify(t.Context(), good); err != nil {
			t.Error(err)
		}
	}
}

// Who is disabled sets no password any more with a link from before, and writes
// nothing into the book by it.
func TestALinkOfSomebodyDisabled(t *testing.T) {
	h := newHouse(t)
	h.owner()
	set := func(disabled bool) *ledger.Entry {
		t.Helper()
		e, err := h.book("harrow").SetPerson(t.Context(), ledger.Meta{}, ledger.Person{ID: "jo", Name: "Jo", Duty: ledger.MayRead, Disabled: disabled})
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	set(false)
	code, err := h.Invite(t.Context(), "harrow", "jo")
	if err != nil {
		t.Fatal(err)
	}
	last := set(true)
	if _, err := h.Join(t.Context(), "192.0.2.1", "harrow", code.Code, "", "", pass); reason(err) != "PERSON_DISABLED" {
		t.Errorf("disabled: %v", err)
	}
	if next := set(false); next.Seq != last.Seq+1 {
		t.Errorf("something was recorded between %d and %d", last.Seq, next.Seq)
	}
	if _, err := h.Join(t.Context(), "192.0.2.1", "harrow", code.Code, "", "", pass); err != nil {
		t.Errorf("let in again: %v", err)
	}
}
