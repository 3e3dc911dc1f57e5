package signin

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
)

type house struct {
	*testing.T
	*Door
	store ledger.Store
	clock time.Time
}

const pass = "seven bells of bronze"

func newHouse(t *testing.T) *house {
	h := &house{T: t, store: memory.New(), clock: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	h.Door = New(h.store, func() time.Time { return h.clock }, slog.New(slog.DiscardHandler))
	if _, err := h.book("harrow").OpenBook(t.Context(), ledger.Meta{}, ledger.Shop{Name: "Harrow"}); err != nil {
		t.Fatal(err)
	}
	return h
}

// owner makes the first person.
func (h *house) owner() string {
	h.Helper()
	c, err := h.Invite(h.Context(), "harrow", "")
	if err != nil {
		h.Fatal(err)
	}
	credential, err := h.Join(h.Context(), "192.0.2.1", "harrow", c.Code, "mo", "Mo Marsh", pass)
	if err != nil {
		h.Fatal(err)
	}
	return credential
}

func reason(err error) string {
	var e *ledger.Error
	if errors.As(err, &e) {
		return e.Reason
	}
	return ""
}

// Who tries a password waits: the fifth wrong try costs two seconds, each further
// one twice as much, at most a quarter of an hour; the right one ends it. Another
// person is not held up, an address only after many tries.
func TestWaiting(t *testing.T) {
	h := newHouse(t)
	h.owner()
	try := func(person, pass string) string {
		_, err := h.SignIn(t.Context(), "192.0.2.7", "harrow", person, pass)
		return reason(err)
	}
	waited := []time.Duration{0, 0, 0, 0, 2 * time.Second, 4 * time.Second, 8 * time.Second}
	for i, want := range waited {
		if got := try("mo", "wrong"); got != "WRONG_PASSWORD" {
			t.Fatalf("try %d: %s", i+1, got)
		}
		if got := h.waits.all["person harrow/mo"].until.Sub(h.clock); max(got, 0) != want {
			t.Errorf("after try %d: %s, want %s", i+1, got, want)
		}
		if want > 0 {
			if got := try("mo", pass); got != "TOO_MANY_TRIES" {
				t.Errorf("right away: %s", got)
			}
			h.clock = h.clock.Add(want)
		}
	}
	if got := try("mo", pass); got != "" {
		t.Errorf("the right one: %s", got)
	}
	if _, waits := h.waits.all["person harrow/mo"]; waits {
		t.Error("the right one does not end it")
	}
	for i := range 40 {
		h.waits.wrong("person harrow/mo", freeForPerson)
		if got := h.waits.all["person harrow/mo"].until.Sub(h.clock); got > longestWait {
			t.Fatalf("%d tries: %s", i, got)
		}
	}
	var names []string
	for i := range 25 { // one address tries many
		names = append(names, try("p"+strings.Repeat("x", i), "wrong"))
	}
	if i := slices.Index(names, "TOO_MANY_TRIES"); i < 10 || i > 21 {
		t.Errorf("the address waits after %d", i)
	}
	if _, err := h.SignIn(t.Context(), "198.51.100.1", "harrow", "mo", pass); reason(err) != "TOO_MANY_TRIES" {
		t.Errorf("the person, from elsewhere: %v", err)
	}
}

// What is wrong is not told apart: the shop, the person, the password, or that
// there is none.
func TestNothingIsToldApart(t *testing.T) {
	h := newHouse(t)
	h.owner()
	if _, err := h.book("harrow").SetPerson(t.Context(), ledger.Meta{}, ledger.Person{ID: "new", Name: "New", Duty: ledger.MayRead}); err != nil {
		t.Fatal(err)
	}
	said := map[string]bool{}
	for _, c := range [][3]string{{"harrow", "mo", "wrong"}, {"harrow", "nobody", pass}, {"nowhere", "mo", pass}, {"harrow", "new", ""}, {"", "", ""}, {"har/row", "\x00", pass}} {
		_, err := h.SignIn(t.Context(), "192.0.2.9", c[0], c[1], c[2])
		if err == nil {
			t.Fatalf("%q is let in", c)
		}
		said[err.Error()] = true
	}
	if len(said) != 1 {
		t.Errorf("said %v", said)
	}
}

func TestPasswords(t *testing.T) {
	for password, want := range map[string]string{
		"eleven char": "TOO_SHORT", "zwölf Zeiche": "", "aaaaaaaaaaaaaaaa": "TOO_EASY", "jojojojojojo": "TOO_EASY", "JoJoJoJoJoJo": "TOO_EASY",
		strings.Repeat("long ", 300): "TOO_LONG", "not utf-8 \xff\xfe": "NOT_UTF8", pass: "", "": "TOO_SHORT",
	} {
		err := checkPassword(password, "jo")
		if got := reason(err); got != want {
			t.Errorf("%.20q: %q, want %q", password, got, want)
		}
		if err != nil && password != "" && strings.Contains(err.Error(), password) {
			t.Errorf("the refusal repeats the password: %v", err)
		}
	}
}

// Codes work once and for a time, as typed by people; the owner's link does not
// make a second owner.
func TestCodes(t *testing.T) {
	h := newHouse(t)
	first, err := h.Invite(t.Context(), "harrow", "")
	if err != nil {
		t.Fatal(err)
	}
	h.owner()
	if _, err := h.Join(t.Context(), "192.0.2.1", "harrow", first.Code, "eve", "Eve", pass); reason(err) != "HAS_OWNER" {
		t.Errorf("a second owner: %v", err)
	}
	pair := func() Code {
		t.Helper()
		e, err := h.book("harrow").AddToken(t.Context(), ledger.Meta{}, ledger.Token{Person: "mo", Name: "phone", Duty: ledger.MayWeighIn, Device: true})
		if err != nil {
			t.Fatal(err)
		}
		c, err := h.Pair(t.Context(), "harrow", e.Records[0].ID)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	c := pair()
	credential, err := h.Device(t.Context(), "192.0.2.1", "harrow", " "+strings.ToLower(c.Code))
	if err != nil {
		t.Fatal(err)
	}
	if who, err := h.Identify(t.Context(), credential); err != nil || who.Person != "mo" || who.Duty != ledger.MayWeighIn || who.Device != "phone" {
		t.Errorf("%+v, %v", who, err)
	}
	if _, err := h.Device(t.Context(), "192.0.2.1", "harrow", c.Code); reason(err) != "BAD_CODE" {
		t.Errorf("twice: %v", err)
	}
	c = pair()
	h.clock = h.clock.Add(PairingTime)
	if _, err := h.Device(t.Context(), "192.0.2.1", "harrow", c.Code); reason(err) != "BAD_CODE" {
		t.Errorf("too late: %v", err)
	}
	if _, err := h.Device(t.Context(), "192.0.2.1", "south", pair().Code); reason(err) != "BAD_CODE" {
		t.Errorf("in another shop: %v", err)
	}
	seen := map[string]bool{}
	for range 1000 {
		seen[shortCode()] = true
	}
	if len(seen) != 1000 {
		t.Errorf("%d codes of 1000 differ", len(seen))
	}
}

// Whatever is sent as a credential is an answer, never a fault.
func FuzzIdentify(f *testing.F) {
	for _, s := range []string{"", "remelt~harrow~session~x", "remelt~harrow~token-1~x", "remelt~~session~x", "remelt~harrow~token-~x", "a~b~c~d~e", "remelt~har\x00row~token-\xff~x"} {
		f.Add(s)
	}
	store := memory.New()
	d := New(store, time.Now, slog.New(slog.DiscardHandler))
	f.Fuzz(func(t *testing.T, s string) {
		if c, err := d.Identify(context.Background(), s); err == nil || !errors.Is(err, ledger.ErrSignIn) {
			t.Errorf("%q: %+v, %v", s, c, err)
		}
		if c, ok := parse(s); ok && c.String() != s {
			t.Errorf("%q is written %q", s, c)
		}
	})
}
