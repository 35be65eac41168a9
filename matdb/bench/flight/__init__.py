"""What two gyros logged in flight: when it flew, how fast the rotors turned, how the camera followed the airframe."""
