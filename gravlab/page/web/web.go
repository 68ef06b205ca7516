// Package web holds what the page's editor and charts are built from: the list
// of npm packages, its lockfile, and the editor's own source. What is built from
// it is in the user's cache, not here (package webassets).
package web

import "embed"

// Files are package.json, package-lock.json, .npmrc and editor.js.
//
//go:embed package.json package-lock.json .npmrc editor.js
var Files embed.FS
