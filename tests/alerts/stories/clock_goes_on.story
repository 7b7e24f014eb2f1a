# The clock is set on an hour in a stop: it is told again, not anew, and its end once.
start hill coarse
1 min calm
2 min windy
  11:02 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
clock 60
3 min windy
  12:04 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, over its planned time.
    Wind measured by mast 1 min ago.
  12:04 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
  12:04 helper: Stop hill: too windy, 12, max 10 mph. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
15 min calm
  12:13 driver: Still spraying hill?
    The job on hill was planned to end at 11:42, 30 min ago.
    Finish or abandon it if it is done: the watch goes on watching it until then.
  12:13 mate: ¿Aun pulveriza hill? El trabajo en hill debia acabar a las 11:42, hace 30 min. Decide la etiqueta.
  12:17 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, over its planned time.
    Wind measured by mast 1 min ago.
  12:17 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, mas tiempo del previsto. Viento medido por mast hace 1 min. Decide la etiqueta.
not (?i)check|unknown
most 4 driver
most 4 mate
most 1 helper
