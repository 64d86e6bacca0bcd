package server

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"mime"
	"net/http"
	"path"
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
	mux.HandleFunc("GET /{$}", file("watch.html"))
	mux.HandleFunc("GET /far", file("far.html"))
	all, _ := files.ReadDir("page")
	for _, f := range all {
		mux.HandleFunc("GET /page/"+f.Name(), file(f.Name()))
	}
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
