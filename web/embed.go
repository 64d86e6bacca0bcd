// Package web holds the app that the browser runs, as `make web` built it: plain
// files that load nothing from anywhere else. The sources are in src, TypeScript
// and Svelte; they draw and enter, and compute nothing that matters.
package web

import (
	"embed"
	"io/fs"
)

//go:embed all:dist
var dist embed.FS

// App gives the built files, index.html among them; false when the program was
// built without them.
func App() (fs.FS, bool) {
	app, err := fs.Sub(dist, "dist")
	if err != nil {
		return nil, false
	}
	_, err = fs.Stat(app, "index.html")
	return app, err == nil
}
