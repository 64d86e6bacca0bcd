package server

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"time"

	"plumbhook/contract"
	"plumbhook/fault"
)

// pages puts what is no API on a mux.
func (s *Server) pages(mux *http.ServeMux) {
	mux.HandleFunc("GET /screen/{token}", s.openScreen)
	mux.HandleFunc("GET /certificate", s.certificate)
	mux.HandleFunc("GET /certificate/authority.crt", s.authorityFile)
	built := newApp(s.o.App)
	s.page = built.hash()
	mux.Handle("/", built)
}

// app serves the built app. Its own addresses, which have no ending, all are
// its index; what lies under assets has the hash of its contents in its name.
type app map[string]*appFile

type appFile struct {
	body, packed []byte // packed: gzip, nil where that is no smaller
	kind, tag    string
}

func newApp(built fs.FS) app {
	a := app{}
	if built == nil {
		return a
	}
	_ = fs.WalkDir(built, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(built, name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(b)
		f := &appFile{body: b, kind: cmp.Or(kinds[path.Ext(name)], mime.TypeByExtension(path.Ext(name)), "application/octet-stream"), tag: `"` + hex.EncodeToString(sum[:8]) + `"`}
		var z bytes.Buffer
		w, _ := gzip.NewWriterLevel(&z, gzip.BestCompression)
		_, _ = w.Write(b) // into memory: it cannot fail
		_ = w.Close()
		if z.Len() < len(b)*9/10 {
			f.packed = z.Bytes()
		}
		a[name] = f
		return nil
	})
	return a
}

// hash changes when any file of the app does: its index names them all by theirs.
func (a app) hash() string {
	if a[index] == nil {
		return ""
	}
	return strings.Trim(a[index].tag, `"`)
}

// kinds are those that a machine's own table may lack.
var kinds = map[string]string{".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".webmanifest": "application/manifest+json", ".svg": "image/svg+xml", ".woff2": "font/woff2"}

const index = "index.html"

func (a app) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	name := strings.TrimPrefix(path.Clean(r.URL.Path), "/")
	f := a[name]
	if f == nil && path.Ext(name) == "" {
		f, name = a[index], index
	}
	switch {
	case len(a) == 0:
		refuse(w, http.StatusNotFound, fault.New(fault.Missing, "this program was built without its app").Fix("build it with make; the API is there, see /api/openapi.json"))
		return
	case f == nil:
		refuse(w, http.StatusNotFound, fault.New(fault.Reference, "there is no page %s", r.URL.Path).Fix("start at /"))
		return
	case r.Method != http.MethodGet && r.Method != http.MethodHead:
		w.Header().Set("Allow", "GET, HEAD")
		refuse(w, http.StatusMethodNotAllowed, fault.New(fault.Unsupported, "%s takes no %s", r.URL.Path, r.Method).Fix("see /api/openapi.json for what can be sent"))
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.kind)
	h.Set("Vary", "Accept-Encoding")
	h.Set("ETag", f.tag)
	h.Set("Cache-Control", "no-cache")
	if strings.HasPrefix(name, "assets/") {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	body := f.body
	if f.packed != nil && strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") && r.Header.Get("Range") == "" {
		h.Set("Content-Encoding", "gzip")
		h.Set("ETag", strings.TrimSuffix(f.tag, `"`)+`z"`)
		body = f.packed
	}
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(body))
}

// refuse answers with a fault.
func refuse(w http.ResponseWriter, code int, f *fault.Fault) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(contract.NewFaults(f))
}
