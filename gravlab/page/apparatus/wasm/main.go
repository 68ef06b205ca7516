//go:build js && wasm

// The apparatus as the browser runs it: one function, gravlabApparatus, which
// takes the id of a scene, the settings as JSON and a time, and returns the state
// as JSON; with "record" behind these, what the scene has recorded by then; without
// arguments, the list of scenes.
package main

import (
	"encoding/json"
	"fmt"
	"syscall/js"

	"gravity.example/gravlab/page/apparatus"
)

func main() {
	js.Global().Set("gravlabApparatus", js.FuncOf(answer))
	js.Global().Set("gravlabWindow", js.FuncOf(window))
	select {}
}

func answer(_ js.Value, args []js.Value) any {
	if len(args) == 0 {
		return encode(apparatus.Scenes())
	}
	if len(args) == 4 && args[3].String() == "record" {
		text, err := record(args)
		if err != nil {
			return encode(map[string]string{"error": err.Error()})
		}
		return encode(map[string]string{"csv": text})
	}
	state, err := at(args)
	if err != nil {
		return encode(map[string]string{"error": err.Error()})
	}
	return encode(state)
}

func at(args []js.Value) (apparatus.State, error) {
	scene, set, err := asked(args)
	if err != nil {
		return apparatus.State{}, err
	}
	return scene.At(set, args[2].Float())
}

func record(args []js.Value) (string, error) {
	scene, set, err := asked(args)
	if err != nil {
		return "", err
	}
	return scene.Table(set, args[2].Float())
}

func asked(args []js.Value) (scene apparatus.Scene, set map[string]float64, err error) {
	if len(args) < 3 {
		return scene, nil, fmt.Errorf("want a scene, its settings and a time")
	}
	if scene, err = apparatus.Find(args[0].String()); err != nil {
		return scene, nil, err
	}
	return scene, set, json.Unmarshal([]byte(args[1].String()), &set)
}

// window takes a record as JSON once, and then where its window begins and ends: it returns the
// fit to it.
var recorded struct {
	Times, Readings []float64
	Drift           bool
	Unit            string
}

func window(_ js.Value, args []js.Value) any {
	var err error
	var w apparatus.Window
	switch len(args) {
	case 1:
		err = json.Unmarshal([]byte(args[0].String()), &recorded)
	case 2:
		w, err = apparatus.FitWindow(recorded.Times, recorded.Readings, args[0].Float(), args[1].Float(), recorded.Drift, recorded.Unit)
	}
	if err != nil {
		return encode(map[string]string{"error": err.Error()})
	}
	return encode(w)
}

func encode(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		return `{"error": "` + err.Error() + `"}`
	}
	return string(b)
}
