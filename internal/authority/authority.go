// Package authority makes a certificate authority of one's own, for machines
// that have no internet: a tablet that trusts it reaches this program over TLS,
// which browsers ask for before they give a page the camera or keep the screen
// awake.
//
// The authority is bound, in its own certificate, to names of this machine and
// to private addresses: who stole its key could pass for nothing else.
package authority

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"plumbhook/fault"
)

// Where it is kept below the data folder.
const (
	folder   = "tls"
	certFile = "authority.crt"
	keyFile  = "authority.key"
)

// How long certificates hold. Browsers refuse leaves of more than 825 days even
// of one's own authority (from memory).
const (
	holds     = 10 * 365 * 24 * time.Hour
	leafHolds = 397 * 24 * time.Hour
	renew     = 30 * 24 * time.Hour
	skew      = time.Hour // clocks of tablets are wrong
)

// private are the addresses that it may certify: RFC 1918, RFC 4193, RFC 3927,
// RFC 4291 link-local, and loopback.
var private = []string{"10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8", "fc00::/7", "fe80::/10", "::1/128"}

// Authority signs the certificate of this machine.
type Authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	raw  []byte // PEM of cert
	now  func() time.Time
	ips  func() []net.IP

	mu   sync.Mutex
	leaf *tls.Certificate
	of   []net.IP // addresses that leaf is for
}

// Make makes an authority for these names of the machine in a data folder. One
// that is there stays: tablets trust it.
func Make(dir string, names []string, now time.Time) error {
	at := filepath.Join(dir, folder)
	if _, err := os.Stat(filepath.Join(at, keyFile)); err == nil {
		return fault.New(fault.Duplicate, "there is a certificate authority already").In(at).Fix("remove the folder to make another; every tablet has to be given that one then")
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	t := &x509.Certificate{
		SerialNumber: serial(), Subject: pkix.Name{CommonName: "Plumbhook at " + names[0]}, NotBefore: now.Add(-skew), NotAfter: now.Add(holds),
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature,
		PermittedDNSDomainsCritical: true, PermittedDNSDomains: names,
	}
	for _, p := range private {
		_, n, err := net.ParseCIDR(p)
		if err != nil {
			return err
		}
		t.PermittedIPRanges = append(t.PermittedIPRanges, n)
	}
	der, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(at, 0o700); err != nil {
		return fault.New(fault.Path, "the folder of the certificates cannot be made").Because(err).Fix("look at the disk of the data folder")
	}
	for _, f := range []struct {
		name, kind string
		der        []byte
		mode       fs.FileMode
	}{{certFile, "CERTIFICATE", der, 0o644}, {keyFile, "PRIVATE KEY", secret, 0o600}} {
		if err := os.WriteFile(filepath.Join(at, f.name), pem.EncodeToMemory(&pem.Block{Type: f.kind, Bytes: f.der}), f.mode); err != nil {
			return fault.New(fault.Path, "%s cannot be written", f.name).Because(err).Fix("look at the disk of the data folder")
		}
	}
	return nil
}

func serial() *big.Int {
	n, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		panic(err) // the system gives no random numbers
	}
	return n
}

// Load reads the authority of a data folder.
func Load(dir string) (*Authority, error) {
	at := filepath.Join(dir, folder)
	raw, err := os.ReadFile(filepath.Join(at, certFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fault.New(fault.Missing, "other machines are served over TLS alone, and there is no certificate").
			Fix("make one: plumbhook certify --data %s; or listen on 127.0.0.1; or insist with --plain-http, for gateways --plain-mqtt", dir)
	}
	a := &Authority{raw: raw, now: time.Now, ips: addresses}
	var secret []byte
	if err == nil {
		secret, err = os.ReadFile(filepath.Join(at, keyFile))
	}
	if err == nil {
		a.cert, a.key, err = parse(raw, secret)
	}
	if err != nil {
		return nil, fault.New(fault.Path, "the certificate authority cannot be read").In(at).Because(err).Fix("restore the folder from a backup, or remove it and run certify again")
	}
	return a, nil
}

func parse(cert, secret []byte) (*x509.Certificate, *ecdsa.PrivateKey, error) {
	c, _ := pem.Decode(cert)
	k, _ := pem.Decode(secret)
	if c == nil || k == nil {
		return nil, nil, errors.New("no PEM")
	}
	parsed, err := x509.ParseCertificate(c.Bytes)
	if err != nil {
		return nil, nil, err
	}
	key, err := x509.ParsePKCS8PrivateKey(k.Bytes)
	if err != nil {
		return nil, nil, err
	}
	ec, ok := key.(*ecdsa.PrivateKey)
	if !ok || !ec.PublicKey.Equal(parsed.PublicKey) {
		return nil, nil, errors.New("key and certificate do not go together")
	}
	return parsed, ec, nil
}

// PEM is its certificate, for tablets.
func (a *Authority) PEM() []byte { return a.raw }

// Secret is a secret for a purpose, the same for all who hold the authority's
// key, and telling nothing about it (HKDF, RFC 5869).
func (a *Authority) Secret(purpose string) (string, error) {
	key, err := a.key.Bytes()
	if err != nil {
		return "", err
	}
	b, err := hkdf.Key(sha256.New, key, nil, purpose, 32)
	return hex.EncodeToString(b), err
}

// Names are those that it may certify.
func (a *Authority) Names() []string { return a.cert.PermittedDNSDomains }

// Until is when it runs out.
func (a *Authority) Until() time.Time { return a.cert.NotAfter }

// Fingerprint is what a person compares before trusting the certificate: its
// SHA-256.
func (a *Authority) Fingerprint() string { return fmt.Sprintf("% X", sha256.Sum256(a.cert.Raw)) }

// Certificate is this machine's, made anew before it runs out and when the
// machine's addresses have changed.
func (a *Authority) Certificate(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	now, ips := a.now(), a.ips()
	same := slices.EqualFunc(ips, a.of, func(x, y net.IP) bool { return x.Equal(y) })
	if a.leaf != nil && same && now.Add(renew).Before(a.leaf.Leaf.NotAfter) {
		return a.leaf, nil
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	t := &x509.Certificate{
		SerialNumber: serial(), Subject: pkix.Name{CommonName: a.Names()[0]}, NotBefore: now.Add(-skew), NotAfter: now.Add(leafHolds),
		DNSNames: a.Names(), IPAddresses: ips, KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, t, a.cert, &key.PublicKey, a.key)
	if err != nil {
		return nil, err
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, err
	}
	a.leaf, a.of = &tls.Certificate{Certificate: [][]byte{der, a.cert.Raw}, PrivateKey: key, Leaf: leaf}, ips
	return a.leaf, nil
}

// addresses are the private ones of this machine.
func addresses() []net.IP {
	var ips []net.IP
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	for _, a := range all {
		n, ok := a.(*net.IPNet)
		if !ok {
			continue
		}
		for _, p := range private {
			if _, r, err := net.ParseCIDR(p); err == nil && r.Contains(n.IP) {
				ips = append(ips, n.IP)
			}
		}
	}
	return ips
}
