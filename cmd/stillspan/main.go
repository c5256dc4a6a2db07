// Command stillspan checks interval shoots against their plan and turns them
// into clips.
package main

func main() {}
