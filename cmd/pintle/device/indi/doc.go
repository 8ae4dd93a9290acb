// Package indi speaks to cameras and mounts through an INDI server: XML over
// TCP, port 7624 (protocol 1.7). It reads with its own streaming reader, keeps
// what the devices define, and sends nothing but what is listed in sendable.
package indi

// Port is the usual port of a server.
const Port = "7624"
