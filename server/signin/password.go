package signin

import (
	"context"
	"errors"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"

	"example.org/remelt/ledger"
)

// cost is what checking a password costs: the least that OWASP's Password Storage
// Cheat Sheet gives for argon2id, 19 MiB, 2 passes, 1 lane (figures from memory).
var cost = &argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// Lengths of a password. NIST SP 800-63B (from memory) asks for 8 at least, for
// letting people take long ones, and for no rules about kinds of characters.
const (
	shortest = 12   // characters
	longest  = 1000 // bytes
)

func checkPassword(password, person string) error {
	bad := func(reason, want string) error {
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: reason, Field: "password", Want: want} // never its value
	}
	first, _ := utf8.DecodeRuneInString(password)
	switch n := utf8.RuneCountInString(password); {
	case !utf8.ValidString(password):
		return bad("NOT_UTF8", "must be UTF-8 text")
	case n < shortest:
		return bad("TOO_SHORT", "must have at least "+strconv.Itoa(shortest)+" characters; a few words do well")
	case len(password) > longest:
		return bad("TOO_LONG", "must have at most "+strconv.Itoa(longest)+" bytes")
	case strings.Trim(password, string(first)) == "":
		return bad("TOO_EASY", "must not be one character again and again")
	case person != "" && strings.ReplaceAll(strings.ToLower(password), strings.ToLower(person), "") == "":
		return bad("TOO_EASY", "must not be your own id again and again")
	}
	return nil
}

// turn waits until there is memory for hashing.
func (d *Door) turn(ctx context.Context) error {
	select {
	case d.hashing <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (d *Door) hash(ctx context.Context, password string) (string, error) {
	if err := d.turn(ctx); err != nil {
		return "", err
	}
	defer func() { <-d.hashing }()
	return argon2id.CreateHash(password, cost)
}

func (d *Door) matches(ctx context.Context, password, hash string) (bool, error) {
	if err := d.turn(ctx); err != nil {
		return false, err
	}
	defer func() { <-d.hashing }()
	return argon2id.ComparePasswordAndHash(password, hash)
}

// nobody is what a password is compared with when there is nothing to compare it
// with, so that the time it takes does not tell.
var nobody = sync.OnceValues(func() (string, error) { return argon2id.CreateHash("nobody", cost) })

var errWrong = notSignedIn("WRONG_PASSWORD", "the shop, the person or the password is wrong")

// SignIn checks a password and gives the credential of a session.
func (d *Door) SignIn(ctx context.Context, address, shop, person, password string) (string, error) {
	of, from := "person "+shop+"/"+person, "address "+address
	if err := d.waits.ask(of, from); err != nil {
		d.log.WarnContext(ctx, "sign-in refused", "shop", shop, "person", short(person), "peer", address, "reason", "TOO_MANY_TRIES")
		return "", err
	}
	p, hash, err := d.passwordOf(ctx, shop, person)
	if err != nil {
		return "", err
	}
	// Counted before it is known, so that many at once count too.
	d.waits.wrong(of, freeForPerson)
	d.waits.wrong(from, freeForAddress)
	right, err := d.matches(ctx, password, hash)
	if err != nil {
		return "", err
	}
	if !right || p.ID == "" {
		d.log.WarnContext(ctx, "sign-in refused", "shop", shop, "person", short(person), "peer", address, "reason", "WRONG_PASSWORD")
		return "", errWrong
	}
	d.waits.right(of)
	d.waits.pardon(from)
	d.log.InfoContext(ctx, "signed in", "shop", shop, "person", p.ID, "peer", address)
	return d.begin(ctx, shop, p.ID, p.Password, SessionTime)
}

// passwordOf reads what somebody's password is compared with; the person is empty
// when it cannot be right.
func (d *Door) passwordOf(ctx context.Context, shop, person string) (p ledger.Person, hash string, err error) {
	p, err = d.person(ctx, shop, person)
	if errors.Is(err, ledger.ErrSignIn) {
		hash, err = nobody()
		return ledger.Person{}, hash, err
	} else if err != nil {
		return p, "", err
	}
	kept, found, err := d.store.Secret(ctx, shop, ledger.SecretPassword, person)
	if err == nil && !found {
		hash, err = nobody()
		return ledger.Person{}, hash, err
	}
	return p, string(kept.Hash), err
}

// short bounds what of a request is logged.
func short(s string) string { return strings.ToValidUTF8(s[:min(len(s), 64)], "") }

// unknownAs replaces "not in the book" by what an outsider is told.
func unknownAs(err, told error) error {
	if errors.Is(err, ledger.ErrNotFound) || errors.Is(err, ledger.ErrInvalid) {
		return told
	}
	return err
}
