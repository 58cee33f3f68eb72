/**
 * Working room that is used over and over: large arrays cost more to make and collect than what is done in them.
 *
 * One array for each name and length; what is in it is gone at the next call with that name. For use inside one function,
 * never to be returned or kept.
 */
const rooms = new Map<string, Float64Array>()

export function room(name: string, length: number): Float64Array {
  let array = rooms.get(name)
  if (array?.length !== length) {
    array = new Float64Array(length)
    rooms.set(name, array)
  }
  return array
}
