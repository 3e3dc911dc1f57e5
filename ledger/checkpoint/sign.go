package checkpoint

import (
	"crypto/rand"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// NewKey makes a pair of keys in the encoding of signed notes. name stands on
// each note it signs; it may hold neither spaces nor a plus sign.
func NewKey(name string) (private, public string, err error) {
	private, public, err = note.GenerateKey(rand.Reader, name)
	if err != nil {
		return "", "", invalid("name", name, "must be a name without spaces and plus signs")
	}
	if _, err := note.NewVerifier(public); err != nil {
		return "", "", invalid("name", name, "must be a name without spaces and plus signs")
	}
	return private, public, nil
}

// Sign writes the signed note.
func Sign(c Checkpoint, private string) ([]byte, error) {
	signer, err := note.NewSigner(strings.TrimSpace(private))
	if err != nil {
		return nil, invalid("key", "", "is not a private key for checkpoints")
	}
	if _, err := Parse(c.Text()); err != nil {
		return nil, err
	}
	return note.Sign(&note.Note{Text: c.Text()}, signer)
}

// Open reads a signed note and refuses one that no holder of the public key signed.
func Open(signed []byte, public string) (Checkpoint, error) {
	verifier, err := note.NewVerifier(strings.TrimSpace(public))
	if err != nil {
		return Checkpoint{}, invalid("key", "", "is not a public key for checkpoints")
	}
	n, err := note.Open(signed, note.VerifierList(verifier))
	if err != nil {
		return Checkpoint{}, invalid("checkpoint", "", "is not signed with the key "+verifier.Name()+", or was changed after it was signed")
	}
	return Parse(n.Text)
}
