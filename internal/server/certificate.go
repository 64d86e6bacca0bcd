package server

import (
	"crypto/sha256"
	"encoding/pem"
	"fmt"
	"html/template"
	"net/http"

	"plumbhook/fault"
)

var certificatePage = template.Must(template.New("").Parse(`<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>Trust this machine</title>
<main><h1>Trust this machine on a tablet</h1>
<p>A browser gives a page the camera, and keeps the screen awake for it, only where it trusts the certificate.</p>
<ol><li>Compare the number below with the one that <code>plumbhook certify</code> printed. If they differ, stop: somebody is between you and this machine.</li>
<li><a href="/certificate/authority.crt">Load the certificate</a>.</li>
<li>Android: Settings, Security, Encryption and credentials, Install a certificate, CA certificate. iPad: open the loaded profile in Settings and install it, then General, About, Certificate Trust Settings, and switch it on. Windows and Linux: import it in the browser's settings under Certificates, Authorities.</li>
<li>Open <a href="/">the app</a> again: the warning is gone.</li></ol>
<p>It is good for this machine's names and for private addresses, and for nothing else.</p>
<p>SHA-256: <code>{{.}}</code></p></main></html>
`))

// certificate shows how a tablet is made to trust this machine.
func (s *Server) certificate(w http.ResponseWriter, _ *http.Request) {
	block, _ := pem.Decode(s.o.Authority)
	if block == nil {
		refuse(w, http.StatusNotFound, fault.New(fault.Missing, "there is no certificate to trust").Fix("make one: plumbhook certify; then serve other machines"))
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-cache")
	_ = certificatePage.Execute(w, fmt.Sprintf("% X", sha256.Sum256(block.Bytes)))
}

// authorityFile is the certificate itself.
func (s *Server) authorityFile(w http.ResponseWriter, r *http.Request) {
	if s.o.Authority == nil {
		s.certificate(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/x-x509-ca-cert")
	w.Header().Set("Content-Disposition", `attachment; filename="plumbhook-authority.crt"`)
	_, _ = w.Write(s.o.Authority)
}
