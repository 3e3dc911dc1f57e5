package signin

import (
	"context"
	"crypto/rand"
	"errors"
	"strings"
	"time"

	"example.org/remelt/ledger"
)

// Code is something that can be used once.
type Code struct {
	Code    string
	Path    string // the page that takes it, with the code where a browser keeps it to itself
	Expires time.Time
}

// Invite makes the code with which a person sets a password; for person "" the
// first one of a shop, who will manage it.
func (d *Door) Invite(ctx context.Context, shop, person string) (Code, error) {
	return d.code(ctx, shop, ledger.SecretInvitation, person, rand.Text(), "join", InvitationTime)
}

// Pair makes the code with which a device signs in as a token of the book.
func (d *Door) Pair(ctx context.Context, shop, token string) (Code, error) {
	return d.code(ctx, shop, ledger.SecretPairing, token, shortCode(), "pair", PairingTime)
}

func (d *Door) code(ctx context.Context, shop string, kind ledger.SecretKind, holder, code, page string, good time.Duration) (Code, error) {
	now := d.moment()
	c := Code{Code: code, Path: "/shops/" + shop + "/" + page + "#" + code, Expires: now.Add(good)}
	return c, d.store.KeepSecret(ctx, shop, ledger.Secret{Kind: kind, ID: digestID(typedCode(code)), For: holder, Made: now, Expires: c.Expires})
}

var errBadCode = notSignedIn("BAD_CODE", "this code is not known, was used, or is too old; ask for another")

// Device signs a device in by its code.
func (d *Door) Device(ctx context.Context, address, shop, code string) (string, error) {
	from := "address " + address
	if err := d.waits.ask(from); err != nil {
		return "", err
	}
	kept, found, err := d.store.TakeSecret(ctx, shop, ledger.SecretPairing, digestID(typedCode(code)))
	if err != nil {
		return "", err
	}
	if !found || !d.now().Before(kept.Expires) {
		d.waits.wrong(from, freeForAddress)
		d.log.WarnContext(ctx, "sign-in refused", "shop", shop, "peer", address, "reason", "BAD_CODE")
		return "", errBadCode
	}
	c, good, err := d.byToken(ctx, shop, kept.For)
	if err != nil {
		return "", err
	}
	d.log.InfoContext(ctx, "device paired", "shop", shop, "person", c.Person, "token", kept.For, "peer", address)
	return d.begin(ctx, shop, tokenHolder+kept.For, time.Time{}, good.Sub(d.moment()))
}

// tokenHolder marks the session of a device: it stands for a token.
const tokenHolder = "token/"

func cutToken(holder string) (string, bool) { return strings.CutPrefix(holder, tokenHolder) }

// Invited tells for whom an invitation is; "" for the first person of a shop.
func (d *Door) Invited(ctx context.Context, address, shop, code string) (person string, err error) {
	from := "address " + address
	if err := d.waits.ask(from); err != nil {
		return "", err
	}
	kept, found, err := d.store.Secret(ctx, shop, ledger.SecretInvitation, digestID(typedCode(code)))
	if err != nil {
		return "", err
	}
	if !found || !d.now().Before(kept.Expires) {
		d.waits.wrong(from, freeForAddress)
		d.log.WarnContext(ctx, "sign-in refused", "shop", shop, "peer", address, "reason", "BAD_CODE")
		return "", errBadCode
	}
	if kept.For != "" {
		if _, err := d.person(ctx, shop, kept.For); err != nil { // disabled since
			return "", err
		}
	}
	return kept.For, nil
}

// Join takes an invitation up: it sets the password and signs in. The first
// person of a shop also says who they are.
func (d *Door) Join(ctx context.Context, address, shop, code, id, name, password string) (string, error) {
	person, err := d.Invited(ctx, address, shop, code)
	if err != nil {
		return "", err
	}
	if person != "" {
		id = person
	}
	if err := checkPassword(password, id); err != nil {
		return "", err
	}
	hash, err := d.hash(ctx, password)
	if err != nil {
		return "", err
	}
	if _, found, err := d.store.TakeSecret(ctx, shop, ledger.SecretInvitation, digestID(typedCode(code))); err != nil {
		return "", err
	} else if !found { // another was faster
		return "", errBadCode
	}
	back := func(err error) (string, error) { // so that it can be tried again
		_, again := d.code(ctx, shop, ledger.SecretInvitation, person, code, "join", InvitationTime)
		return "", errors.Join(err, again)
	}
	m := ledger.Meta{Who: id, Reason: "set a password by a one-time link"}
	var e *ledger.Entry
	if person == "" {
		e, err = d.book(shop).MakeOwner(ctx, m, id, name)
	} else {
		e, err = d.book(shop).NotePassword(ctx, m, id)
	}
	if err != nil {
		return back(err)
	}
	if err := d.store.KeepSecret(ctx, shop, ledger.Secret{Kind: ledger.SecretPassword, ID: id, For: id, Hash: []byte(hash), Made: d.moment()}); err != nil {
		return back(err)
	}
	if err := d.setPeople(ctx, shop); err != nil {
		return "", err
	}
	d.log.InfoContext(ctx, "password set", "shop", shop, "person", id, "peer", address)
	return d.begin(ctx, shop, id, e.Recorded, SessionTime)
}
