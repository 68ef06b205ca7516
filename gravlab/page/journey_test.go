package page_test

import (
	"testing"

	labpage "gravity.example/gravlab/page"
)

func TestShots(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: built(t)}, "")
	r.look(1280, 900, "light")
	r.shot("start-light", false)
	r.open("/lab/01-weighing-the-earth")
	r.shot("lab-light", true)
	r.look(1280, 900, "dark")
	r.shot("lab-dark", false)
	r.look(768, 1024, "light")
	r.shot("lab-768", false)
}
