//go:build !linux

package soak

func onSmallDisk() {}
