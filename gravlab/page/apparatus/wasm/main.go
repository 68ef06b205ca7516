//go:build js && wasm

// The apparatus as the browser runs it: one function, gravlabApparatus, which
// takes the id of a scene, the settings as JSON and a time, and returns the state
// as JSON; without arguments it returns the list of scenes.
package main

import (
	"encoding/json"
	"fmt"
	"syscall/js"

	"gravity.example/gravlab/page/apparatus"
)

func main() {
	js.Global().Set("gravlabApparatus", js.FuncOf(answer))
	select {}
}

func answer(_ js.Value, args []js.Value) any {
	if len(args) == 0 {
		return encode(apparatus.Scenes())
	}
	state, err := at(args)
	if err != nil {
		return encode(map[string]string{"error": err.Error()})
	}
	return encode(state)
}

func at(args []js.Value) (apparatus.State, error) {
	if len(args) != 3 {
		return apparatus.State{}, fmt.Errorf("want a scene, its settings and a time")
	}
	scene, err := apparatus.Find(args[0].String())
	if err != nil {
		return apparatus.State{}, err
	}
	set := map[string]float64{}
	if err := json.Unmarshal([]byte(args[1].String()), &set); err != nil {
		return apparatus.State{}, err
	}
	return scene.At(set, args[2].Float())
}

func encode(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		return `{"error": "` + err.Error() + `"}`
	}
	return string(b)
}
