package soak

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
)

// smallDisk names the folder that a process of the program puts a small disk on before it does anything else.
const smallDisk = "LISTBOUND_TEST_SMALL_DISK"

// onThatDisk has it run others with that disk, one after the other, instead: each line of its input names the arguments of
// one (JSON), and it answers with a line when that was started and one when it ended.
const onThatDisk = "LISTBOUND_TEST_ON_SMALL_DISK"

// onDisk is what is said of a program that runs on that disk.
type onDisk struct {
	PID       int
	Out, Said string // what it wrote, to standard output and error
	Failed    string // how it ended otherwise than well
}

func onSmallDisk() {
	dir := os.Getenv(smallDisk)
	if dir == "" {
		return
	}
	if err := syscall.Mount("none", dir, "tmpfs", 0, "size=16m"); err != nil {
		fmt.Fprintln(os.Stderr, "no small disk:", err)
		os.Exit(noDisk)
	}
	if os.Getenv(onThatDisk) == "" {
		return
	}
	if err := runOnDisk(json.NewDecoder(os.Stdin), json.NewEncoder(os.Stdout)); err != nil {
		fmt.Fprintln(os.Stderr, "on the small disk:", err)
		os.Exit(noDisk)
	}
	os.Exit(0)
}

func runOnDisk(asked *json.Decoder, answers *json.Encoder) error {
	if err := answers.Encode(onDisk{}); err != nil { // the disk is there
		return err
	}
	for {
		var args []string
		if err := asked.Decode(&args); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		var out, said strings.Builder
		c := exec.Command(os.Args[0], args...)
		for _, e := range os.Environ() {
			if !strings.HasPrefix(e, smallDisk) && !strings.HasPrefix(e, onThatDisk) {
				c.Env = append(c.Env, e)
			}
		}
		c.Stdout, c.Stderr = &out, &said
		if err := c.Start(); err != nil {
			return err
		}
		if err := answers.Encode(onDisk{PID: c.Process.Pid}); err != nil {
			return err
		}
		end := onDisk{PID: c.Process.Pid}
		if err := c.Wait(); err != nil {
			end.Failed = err.Error()
		}
		end.Out, end.Said = out.String(), said.String()
		if err := answers.Encode(end); err != nil {
			return err
		}
	}
}

const noDisk = 77
