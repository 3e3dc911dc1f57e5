// Package signin knows who is asking: it checks passwords, sessions, tokens and
// one-time codes against a shop's book and the secrets kept beside it.
//
// A credential is one text, the same in a cookie and in a header: "remelt", the
// shop, what it is, and 130 bits or more from the system's random source,
// with ~ between them. Only SHA-256 of the last part is kept; that is enough for
// what nobody can guess. Passwords can be guessed, so of them an argon2id hash is
// kept, and who tries often waits longer each time.
//
// The book says who may do what. What is recorded of people and tokens holds from
// the next call on, and on other servers of the same store within a second: so long
// an answer of the book is remembered. Only the counts of wrong tries are this
// server's own.
package signin
