package server

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"crypto/sha256"
	"embed"
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

// The pages are plain files without anybody else's code; they load nothing
// from anywhere else.
//
//go:embed page
var files embed.FS

// pageHash changes when any page does.
var pageHash = func() string {
	sum := sha256.New()
	_ = fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := files.ReadFile(name)
		sum.Write([]byte(name))
		sum.Write(b)
		return err
	})
	return hex.EncodeToString(sum.Sum(nil)[:8])
}()

// pages puts them on a mux.
func (s *Server) pages(mux *http.ServeMux) {
	if s.o.App == nil { // else they are screens of it
		mux.HandleFunc("GET /live", file("watch.html"))
		mux.HandleFunc("GET /far", file("far.html"))
	}
	all, _ := files.ReadDir("page")
	for _, f := range all {
		mux.HandleFunc("GET /page/"+f.Name(), file(f.Name()))
	}
	mux.HandleFunc("GET /screen/{token}", s.openScreen)
	mux.HandleFunc("GET /certificate", s.certificate)
	mux.HandleFunc("GET /certificate/authority.crt", s.authorityFile)
	mux.Handle("/", newApp(s.o.App))
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

// kinds are those that a machine's own table may lack.
var kinds = map[string]string{".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".webmanifest": "application/manifest+json", ".svg": "image/svg+xml", ".woff2": "font/woff2"}

const index = "index.html"

func (a app) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	name := strings.TrimPrefix(path.Clean(r.URL.Path), "/")
	f := a[name]
	if f == nil && path.Ext(name) == "" {
		if a[index] == nil && name == "" {
			http.Redirect(w, r, "/live", http.StatusFound) // built without the app
			return
		}
		f, name = a[index], index
	}
	switch {
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

// file serves one of them; the browser asks every time whether it has changed.
func file(name string) http.HandlerFunc {
	b, err := files.ReadFile("page/" + name)
	return func(w http.ResponseWriter, r *http.Request) {
		if err != nil {
			refuse(w, http.StatusInternalServerError, fault.New(fault.Internal, "the page is not in this program"))
			return
		}
		w.Header().Set("Content-Type", mime.TypeByExtension(path.Ext(name)))
		w.Header().Set("Cache-Control", "no-cache")
		w.Header().Set("ETag", `"`+pageHash+`"`)
		http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(b))
	}
}

// refuse answers with a fault.
func refuse(w http.ResponseWriter, code int, f *fault.Fault) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(contract.NewFaults(f))
}
