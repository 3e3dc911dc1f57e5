package web

import (
	"bytes"
	"net/http"

	qr "github.com/piglig/go-qr"
)

// Trust is what the page about trusting the server knows.
type Trust struct {
	URL         string // of the pages
	Authority   []byte // the certificate that vouches for the server, when it is one of the shop's own
	Fingerprint string // of it
}

func (p *Pages) trustRoutes(mux Router) {
	mux.HandleFunc("GET /trust", p.trust)
	mux.HandleFunc("GET /trust/address.svg", p.trustAddress)
	mux.HandleFunc("GET /trust/authority.crt", p.trustAuthority)
}

func (p *Pages) trust(w http.ResponseWriter, _ *http.Request) {
	p.write(w, http.StatusOK, "trust.html", frame{Title: "Phones and this server", Main: struct {
		Trust
		Secure bool
	}{p.cfg.Trust, p.cfg.Secure}})
}

// trustAddress is the address of the pages as a QR code.
func (p *Pages) trustAddress(w http.ResponseWriter, r *http.Request) {
	p.writeCode(w, r, p.cfg.Trust.URL)
}

// writeCode answers with a QR code.
func (p *Pages) writeCode(w http.ResponseWriter, r *http.Request, text string) {
	code, err := qr.EncodeText(text, qr.Medium)
	var body bytes.Buffer
	if err == nil {
		err = code.WriteAsSVG(qr.NewQrCodeImgConfig(8, 4), &body)
	}
	if err != nil {
		p.fail(w, r, nil, err)
		return
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	_, _ = w.Write(body.Bytes()) // the reader went away
}

func (p *Pages) trustAuthority(w http.ResponseWriter, r *http.Request) {
	if len(p.cfg.Trust.Authority) == 0 {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/x-x509-ca-cert")
	w.Header().Set("Content-Disposition", `attachment; filename="metal-book-authority.crt"`)
	_, _ = w.Write(p.cfg.Trust.Authority) // the reader went away
}
